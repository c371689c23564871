//! Every public function of the core, kept in one shared object, so that `cargo xtask nopanic` can
//! read from it that none refers to a panic.
//!
//! A function is kept by its address, so it is compiled for any argument whatever. A panic that is
//! left anywhere calls [`ohmtrail_core_can_panic`], a symbol that nobody defines. To add a
//! function, name it in its group; the check tells which are missing.
#![no_std]

use core::hint::black_box;
use ohmtrail_core::*;

// Defined nowhere: the check fails if the object asks for it.
unsafe extern "C" {
    fn ohmtrail_core_can_panic() -> !;
}

#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    // SAFETY: never run; the object is read, not loaded.
    unsafe { ohmtrail_core_can_panic() }
}

fn keep<T>(value: T) {
    black_box(value);
}

fn p0<R>(function: fn() -> R) {
    black_box(function);
}

/// With room for every row that an ask can have.
type Belief<'t, 'w> = isolate::Belief<'t, 'w>;

fn p1<A, R>(function: fn(A) -> R) {
    black_box(function);
}

fn p2<A, B, R>(function: fn(A, B) -> R) {
    black_box(function);
}

fn p3<A, B, C, R>(function: fn(A, B, C) -> R) {
    black_box(function);
}

fn p4<A, B, C, D, R>(function: fn(A, B, C, D) -> R) {
    black_box(function);
}

fn p5<A, B, C, D, E, R>(function: fn(A, B, C, D, E) -> R) {
    black_box(function);
}

fn p6<A, B, C, D, E, F, R>(function: fn(A, B, C, D, E, F) -> R) {
    black_box(function);
}

/// `accuracy`.
#[unsafe(no_mangle)]
pub extern "C" fn probe_accuracy() {
    p2(accuracy::Accuracy::new);
    p3(accuracy::Accuracy::up_to);
    p2(accuracy::Accuracy::half_width);
    p2(accuracy::Accuracy::covers);
    p2(accuracy::standard_uncertainty);
    p2(accuracy::side_by_side_uncertainty);
    p1(accuracy::Void::words);
    p2(accuracy::Measured::new);
    p1(accuracy::Measured::is_sound);
    p1(accuracy::Measured::expanded);
    p2(accuracy::Quantity::<units::Volts>::new);
    p1(accuracy::Quantity::<units::Volts>::from_measured);
    p1(accuracy::Quantity::<units::Volts>::measured);
    p4(accuracy::Quantity::<units::Volts>::read::<[accuracy::Spec]>);
    p3(accuracy::admit);
    p4(accuracy::measure::<accuracy::Cautious>);
}

/// `class`.
#[unsafe(no_mangle)]
pub extern "C" fn probe_class() {
    p1(class::Class::word);
    p1(class::Likely::certain);
    p2(class::Likely::of);
    p1(class::Likely::best);
}

/// `gates`.
#[unsafe(no_mangle)]
pub extern "C" fn probe_gates() {
    p1(gates::AskError::words);
    p4(gates::DeadAsk::new);
    p3(gates::DeadAsk::ohms);
    p3(gates::DeadAsk::farads);
    p4(gates::LooseAsk::new);
    p4(gates::InsulationAsk::new);
    p1(gates::DeadAsk::points);
    p1(gates::DeadAsk::meter);
    p1(gates::DeadAsk::epoch);
    p1(gates::LooseAsk::points);
    p1(gates::LooseAsk::meter);
    p1(gates::LooseAsk::epoch);
    p1(gates::InsulationAsk::points);
    p1(gates::InsulationAsk::meter);
    p1(gates::InsulationAsk::epoch);
    p1(gates::DeadAsk::function);
    p1(gates::LooseAsk::function);
    p3(gates::TouchAsk::new);
    p3(gates::TouchAsk::loose);
    p1(gates::TouchAsk::point);
    p1(gates::TouchAsk::epoch);
    p3(gates::LiftAsk::new);
    p1(gates::LiftAsk::end);
    p1(gates::LiftAsk::epoch);
    p1(gates::Category::needed);
    p1(gates::Category::words);
    p5(gates::LiveAsk::new);
    p1(gates::LiveAsk::function);
    p1(gates::LiveAsk::points);
    p1(gates::LiveAsk::needs);
    p1(gates::LiftedReason::words);
    p2(gates::PowerOn::new);
    p3(gates::PowerOn::with_lifted);
    p1(gates::PowerOn::how);
    p1(gates::PowerOn::lifted);
    p1(gates::PowerOn::starts);
    p1(gates::PowerOn::epoch);
    p1(gates::Act::is_power);
    p1(gates::Event::at);
    p2(gates::GateSet::has);
    p1(gates::GateSet::is_empty);
    p1(|set: gates::GateSet| set.iter().for_each(keep));
    p1(gates::Why::words);
    p1(gates::Alarm::words);
    p1(gates::NotCounted::words);
    p1(gates::Gates::new);
    p1(gates::Gates::plan);
    p1(gates::Gates::epoch);
    p1(gates::Gates::proved_dead);
    p2(gates::Gates::discharged_to_touch);
    p2(gates::Gates::discharged_to_measure);
    p1(gates::Gates::loose);
    p2(gates::Gates::ready_to_energise);
    p1(gates::Gates::insulation_ready);
    p1(gates::Gates::starts);
    p1(|gates: &gates::Gates<'_>| gates.lifted().for_each(keep));
    p1(gates::Gates::open);
    p1(gates::Gates::revoke);
    p2(gates::Gates::on);
    p1(gates::GatePlan::is_loose);
    p1(gates::GatePlan::check);
    p1(|plan: &gates::GatePlan<'_>| plan.pairs().for_each(keep));
    p2(gates::GatePlan::in_scope);
    p1(gates::Gate::name);
    p3(gates::Gates::next_step);
    p1(gates::ProvedDead::plan);
    p1(gates::ProvedDead::meter);
    p1(gates::ProvedDead::from);
    p1(gates::ProvedDead::until);
    p1(gates::ProvedDead::highest);
    p2(gates::ProvedDead::shows);
    p2(gates::ProvedDead::to_read);
    p1(gates::ProvedDead::pairs);
    p1(gates::ProvedDead::meter_read);
    p1(gates::Discharged::<gates::Measure>::meter);
    p1(gates::Discharged::<gates::Measure>::oldest);
    p1(gates::Discharged::<gates::Measure>::highest);
    p1(gates::Loose::meter);
    p1(gates::Loose::at);
    p1(gates::ReadyToEnergise::at);
    p1(gates::ReadyToEnergise::lifted);
    p1(gates::ReadyToEnergise::starts);
    p1(gates::InsulationReady::at);
}

/// `isolate`.
#[unsafe(no_mangle)]
pub extern "C" fn probe_isolate() {
    p1(isolate::ask::AskRecord::encode);
    p1(isolate::ask::AskRecord::decode);
    p1(isolate::ask::AskRecord::minutes);
    p1(isolate::Table::weight_count);
    p4(isolate::Table::weigh);
    p2(Belief::new);
    p1(Belief::table);
    p2(isolate::Belief::<'_, '_, 64>::with_rows);
    p1(isolate::Table::most_rows);
    p1(Belief::reset);
    p3(Belief::update);
    p1(|belief: &isolate::Belief<'_, '_>| belief.posteriors().for_each(keep));
    p2(Belief::posterior);
    p2(Belief::marginal);
    p2(Belief::group_posterior);
    p1(Belief::leading);
    p1(Belief::risk);
    p1(|belief: &isolate::Belief<'_, '_>| belief.top::<8>());
    p1(Belief::entropy);
    p3(Belief::entropy_if_confirmed);
    p4(Belief::explains);
    p3(isolate::Table::reach);
    p3(isolate::Table::change_minutes);
    p3(isolate::plan::Planner::new);
    p4(isolate::plan::Planner::next::<256>);
    p5(isolate::plan::Planner::standing::<256>);
    p3(isolate::plan::information::<256>);
    p1(isolate::table::to_byte);
    p1(isolate::table::from_byte);
    p1(isolate::Table::parse);
    p2(isolate::Table::encode);
    p1(isolate::Table::encoded_room);
    p1(isolate::Table::check);
    p1(isolate::Table::ask_count);
    p1(isolate::Table::group_count);
    p2(isolate::Table::is_none_of_these);
    p3(isolate::Table::holds);
    p2(isolate::Table::wrong_minutes);
    p2(Belief::loss);
    p3(Belief::doubt);
    p2(isolate::Table::ask);
    p2(isolate::Table::prior);
    p2(isolate::Table::set);
    p2(|table: &isolate::Table<'_>, h: u16| table.faults_of(h).for_each(keep));
    p2(isolate::Table::group);
    p2(isolate::Table::lifted_tenths);
    p2(isolate::Table::ask_rows);
    p2(isolate::Table::ask_cells);
}

/// `leads`.
#[unsafe(no_mangle)]
pub extern "C" fn probe_leads() {
    p1(leads::Leads::remaining);
    p1(leads::Leads::leave_the_sum_to_judge);
    p2(leads::Leads::take_off);
    p3(leads::estimate_from_sum);
}

/// `math`.
#[unsafe(no_mangle)]
pub extern "C" fn probe_math() {
    p1(math::phi);
    p2(math::phi_between);
    p1(math::root_sum_square::<4>);
}

/// `reading`.
#[unsafe(no_mangle)]
pub extern "C" fn probe_reading() {
    p1(reading::Function::name);
    p1(reading::Function::by_name);
    p1(reading::Function::ucum);
    p1(reading::Function::injects);
    p2(reading::Decimal::new);
    p1(reading::Decimal::value);
    p1(reading::Decimal::resolution);
    p1(reading::Shown::decimal);
    p2(reading::Flags::has);
    p2(reading::Flags::with);
    p3(reading::Flags::with_if);
    p1(|flags: reading::Flags| flags.names().for_each(keep));
    p1(reading::Flags::by_name);
    p1(reading::Flags::is_live);
}

/// `rules`.
#[unsafe(no_mangle)]
pub extern "C" fn probe_rules() {
    p1(rules::Rule::limit);
    p2(rules::Rule::limit_of);
    p2(rules::Rule::judge);
    p0(|| rules::all().for_each(keep));
    p1(rules::RuleError::words);
    p1(rules::capacitor::Tolerance::symmetric);
    p1(rules::capacitor::Basis::words);
    p2(rules::capacitor::marked_limits);
    p2(rules::capacitor::section);
    p2(rules::control::at_coil);
    p2(rules::control::at_secondary);
    p2(rules::current::compressor);
    p2(rules::current::motor);
    p1(rules::discharge::DischargeVerdict::under_touch);
    p1(rules::discharge::DischargeVerdict::under_measure);
    p1(rules::discharge::left);
    p4(rules::discharge::seconds);
    p3(rules::drop::across_pole);
    p2(rules::drop::poles_apart);
    p1(rules::drop::open_or_closed);
    p1(rules::insulation::Insulation::source);
    p2(rules::insulation::to_40);
    p4(rules::insulation::open_motor);
    p0(rules::insulation::hermetic_bands);
    p2(rules::insulation::hermetic);
    p2(rules::insulation::large_hermetic);
    p1(rules::supply::window);
    p1(rules::supply::Compressor::window);
    p3(rules::supply::against_plate);
    p3(rules::supply::against_rated);
    p2(rules::supply::starting);
    p3(rules::supply::against_ansi);
    p0(|| rules::supply::rules().for_each(keep));
    p1(rules::temperature::Metal::k);
    p4(rules::temperature::resistance_at);
    p4(rules::temperature::temperature);
    p5(rules::temperature::rise);
    p5(rules::temperature::share_of_reference);
    p1(rules::three_phase::spread);
    p1(rules::unbalance::of_three::<units::Volts>);
    p1(rules::unbalance::of_voltages);
    p1(rules::unbalance::derating);
    p1(rules::unbalance::extra_rise);
    p4(rules::under_load::capacitance);
    p2(rules::winding::sum_rule);
    p1(rules::winding::Pattern::source);
    p2(rules::winding::pattern);
    p4(rules::winding::name_terminals);
}

/// `cooldown`.
#[unsafe(no_mangle)]
pub extern "C" fn probe_cooldown() {
    p2(cooldown::outlook);
    p2(cooldown::rested);
    p2(cooldown::Given::new);
    p1(cooldown::Given::missing);
    p1(cooldown::Missing::nothing);
    p1(|m: &cooldown::Missing| m.words().for_each(keep));
    p2(cooldown::Normal::nine_tenths);
    p1(cooldown::Normal::of);
    p1(cooldown::Reference::kelvins_per_ohm);
    p2(cooldown::Reference::temperature);
}

/// `fit`.
#[unsafe(no_mangle)]
pub extern "C" fn probe_fit() {
    p1(fit::Outcome::words);
    p1(fit::Aspect::words);
    p1(fit::Reason::words);
    p1(fit::Report::rows);
    p1(fit::Report::outcome);
    p2(fit::Report::row);
    p1(fit::Span::at);
    p1(fit::Mains::lowest);
    p1(fit::Mains::highest);
    p2(fit::Mains::covers);
    p2(fit::Mains::common);
    p2(fit::capacitor::bank);
    p1(fit::capacitor::one_can);
    p3(fit::contactor::contactor);
    p3(fit::motor::motor);
    p2(fit::motor::magnetic_poles);
    p2(fit::numbered::numbered);
    p2(fit::relay::relay);
    p2(fit::transformer::transformer);
}

/// `settle`.
#[unsafe(no_mangle)]
pub extern "C" fn probe_settle() {
    p1(settle::spread);
    p1(settle::Why::words);
    p1(settle::State::settled);
    p0(settle::Settler::new);
    p1(settle::Settler::reset);
    p2(settle::Settler::push);
}

/// `source`.
#[unsafe(no_mangle)]
pub extern "C" fn probe_source() {
    p1(source::Status::may_condemn);
    p1(source::Status::words);
    p2(source::Source::new);
}

/// `units`.
#[unsafe(no_mangle)]
pub extern "C" fn probe_units() {
    p1(units::Volts::get);
    p2(<units::Celsius as core::ops::Sub>::sub);
    p2(<units::Celsius as core::ops::Add<units::Kelvins>>::add);
    p2(units::Micros::since);
}

/// `verdict`.
#[unsafe(no_mangle)]
pub extern "C" fn probe_verdict() {
    p2(verdict::Bands::about);
    p3(verdict::Bands::with_bottom);
    p3(verdict::Bands::with_top);
    p3(verdict::Bands::judge);
    p3(verdict::Bands::judge_shown);
    p1(verdict::Decision::words);
    p3(verdict::Limit::new);
    p1(verdict::Limit::low);
    p1(verdict::Limit::high);
    p1(verdict::Limit::tolerance);
    p1(verdict::Limit::is_sound);
    p2(verdict::Limit::p_within);
    p2(verdict::Limit::decide);
    p1(verdict::Limit::bands);
    p3(verdict::Verdict::of);
    p3(verdict::Verdict::overload);
    p2(verdict::Verdict::void);
    p6(verdict::Verdict::read::<[accuracy::Spec]>);
    p1(verdict::Verdict::as_warning);
    p1(verdict::Verdict::too_close);
}

/// `refrigerant`.
#[unsafe(no_mangle)]
pub extern "C" fn probe_refrigerant() {
    p1(refrigerant::Refrigerant::name);
    p1(refrigerant::Refrigerant::by_name);
    p1(refrigerant::Refrigerant::safety_class);
    p1(refrigerant::Refrigerant::half_width);
    p1(refrigerant::SafetyClass::name);
    p1(refrigerant::SafetyClass::words);
    p2(refrigerant::absolute);
    p1(refrigerant::standard_air);
    p3(refrigerant::superheat);
    p3(refrigerant::subcooling);
    p2(refrigerant::compression_ratio);
    p3(refrigerant::target_superheat);
    p3(refrigerant::temperature);
    p3(refrigerant::pressure);
    p3(refrigerant::provable);
    p1(refrigerant::Metering::name);
    p1(refrigerant::Unprovable::words);
    p3(refrigerant::split);
    p1(refrigerant::Split::hint);
    p1(refrigerant::judge_ratio);
    p2(refrigerant::judge_subcooling);
    p3(refrigerant::judge_superheat);
    p3(refrigerant::judge_superheat_about);
    p1(refrigerant::liquid_in_suction);
    p1(refrigerant::Liquid::words);
    p3(refrigerant::allowed_so_far);
}

/// `refrigerant::charge`.
#[unsafe(no_mangle)]
pub extern "C" fn probe_charge() {
    use refrigerant::charge;
    p0(charge::Room::new);
    p2(charge::Room::table);
    p1(charge::Fault::name);
    p1(charge::Fault::words);
    p1(charge::Feature::name);
    p1(charge::Feature::words);
    p1(charge::Feature::by_name);
    p1(charge::Feature::blur);
    p1(charge::Look::name);
    p1(charge::Look::by_name);
    p1(charge::Look::words);
    p1(charge::Look::about);
    p1(charge::Look::yes);
    p1(charge::Check::name);
    p1(charge::Check::words);
    p1(charge::Suspect::name);
    p1(charge::Suspect::words);
    p1(charge::Suspect::prior);
    p1(charge::ChargeError::words);
    p3(charge::Weather::expected);
    p2(charge::Weather::allows);
    p1(charge::Weather::drawn_humidity);
    p4(charge::Weather::over);
    p4(charge::diagnose);
}

/// `psychrometrics`.
#[unsafe(no_mangle)]
pub extern "C" fn probe_psychrometrics() {
    use psychrometrics::Air;
    p1(psychrometrics::saturation_pressure);
    p3(psychrometrics::wet_bulb);
    p3(Air::by_humidity);
    p3(Air::by_dew_point);
    p3(Air::by_wet_bulb);
    p1(Air::dry_bulb);
    p1(Air::humidity_ratio);
    p1(Air::relative_humidity);
    p1(Air::dew_point);
    p1(Air::wet_bulb);
    p1(Air::enthalpy);
    p1(Air::volume);
}

/// A function that can panic, to show that the check finds one.
#[cfg(feature = "control")]
#[unsafe(no_mangle)]
pub extern "C" fn probe_control(index: usize) -> u8 {
    black_box([1, 2, 3])[index]
}
