//! The search: what a stock offers for a part, against a search that tries everything.

use ohmtrail_circuit::sheet::read_builtin;
use ohmtrail_core::fit::{Aspect, Outcome, Reason};
use ohmtrail_stock::{
    Kind, MOST_PIECES, Offer, Offers, Part, PlateValue, Stock, Use, Wanted, failed, offers,
};
use proptest::prelude::*;

const HEAD: &str = "kind,name,quantity,farads,herm,fan,tolerance,volts,duty\n";

fn stock(lines: &str) -> Stock {
    Stock::read("stock.csv", format!("{HEAD}{lines}").as_bytes()).expect("a stock")
}

fn wanted(fields: &[(&str, &str)]) -> Wanted {
    let of = |name: &str| {
        let found = fields.iter().find(|(field, _)| *field == name);
        found.map(|(_, text)| (*text).to_owned())
    };
    Wanted::of(Part::read(Kind::Capacitor, &of).expect("a capacitor"))
}

fn single(farads: &str) -> Wanted {
    wanted(&[
        ("farads", farads),
        ("tolerance", "6 %"),
        ("volts", "370 V"),
        ("duty", "run"),
    ])
}

fn names(offers: &[Offer]) -> Vec<String> {
    let name = |o: &Offer| {
        let names: Vec<&str> = o.pieces.iter().map(|p| p.name.as_str()).collect();
        names.join("+")
    };
    offers.iter().map(name).collect()
}

#[test]
fn one_piece_comes_before_two_and_two_before_three() {
    let stock = stock(
        "capacitor,a,2,10 uF,,,5 %,440 V,run\n\
         capacitor,b,1,20 uF,,,5 %,440 V,run\n\
         capacitor,c,1,40 uF,,,5 %,440 V,run\n\
         capacitor,d,1,35 uF,,,5 %,370 V,run\n\
         capacitor,e,1,40 uF,,,5 %,330 V,run\n\
         capacitor,f,0,40 uF,,,5 %,440 V,run\n\
         capacitor,g,1,40 uF,,,20 %,440 V,run\n",
    );
    let Offers {
        fits,
        unknown,
        refused,
        none_left,
        ..
    } = offers(&single("40 uF"), &stock);
    assert_eq!(names(&fits), ["c", "a+a+b"]);
    assert_eq!(names(&unknown), [""; 0]);
    assert_eq!(names(&refused), ["d", "e", "g"]);
    assert_eq!(none_left, ["f"]);
    let why = |i: usize, aspect| refused[i].judged[0].report.row(aspect).map(|r| r.reason);
    assert_eq!(why(0, Aspect::Capacitance), Some(Reason::Below));
    assert_eq!(why(1, Aspect::Volts), Some(Reason::Below));
    assert_eq!(why(2, Aspect::Tolerance), Some(Reason::Above));
}

/// 35 ± 5 % and 5 ± 20 % are 40 ± 6.875 % at worst and ± 5.04 % as independent ones: refused, and
/// said why.
#[test]
fn a_combination_that_only_holds_on_average_is_refused() {
    let stock = stock("capacitor,a,1,35 uF,,,5 %,440 V,run\ncapacitor,b,1,5 uF,,,20 %,440 V,run\n");
    let found = offers(&single("40 uF"), &stock);
    assert_eq!(names(&found.fits), [""; 0]);
    let together = found
        .refused
        .iter()
        .find(|o| o.pieces.len() == 2)
        .expect("tried");
    let row = together.judged[0]
        .report
        .row(Aspect::Tolerance)
        .expect("compared");
    assert_eq!(row.reason, Reason::OnlyStatistically);
}

#[test]
fn a_dual_can_stands_for_one_section_in_three_ways() {
    let stock = stock("capacitor,dual,1,,40 uF,5 uF,5 %,440 V,run\n");
    for (farads, uses) in [
        ("40 uF", Use::Herm),
        ("5 uF", Use::Fan),
        ("45 uF", Use::Joined),
    ] {
        let found = offers(&single(farads), &stock);
        assert_eq!(found.fits.len(), 1, "{farads}");
        assert_eq!(found.fits[0].pieces[0].uses, uses);
    }
    // The same can is not there twice.
    assert!(offers(&single("80 uF"), &stock).fits.is_empty());
}

#[test]
fn a_dual_one_is_replaced_by_a_dual_one_or_by_singles() {
    let was = wanted(&[
        ("herm", "45 uF"),
        ("fan", "5 uF"),
        ("tolerance", "6 %"),
        ("volts", "440 V"),
        ("duty", "run"),
    ]);
    let stock = stock(
        "capacitor,dual,1,,45 uF,5 uF,6 %,440 V,run\n\
         capacitor,low,1,,45 uF,5 uF,6 %,370 V,run\n\
         capacitor,other,1,,40 uF,5 uF,6 %,440 V,run\n\
         capacitor,s45,1,45 uF,,,5 %,440 V,run\n\
         capacitor,s5,1,5 uF,,,5 %,440 V,run\n\
         capacitor,s35,1,35 uF,,,5 %,440 V,run\n\
         capacitor,s10,1,10 uF,,,5 %,440 V,run\n",
    );
    let found = offers(&was, &stock);
    assert_eq!(names(&found.fits), ["dual", "s45+s5", "s10+s35+s5"]);
    assert_eq!(names(&found.refused), ["low", "other"]);
    let sections: Vec<&str> = found.fits[1]
        .pieces
        .iter()
        .map(|p| p.section.as_str())
        .collect();
    assert_eq!(sections, ["HERM", "FAN"]);
}

/// One can for two capacitors joins one side of each: only where they are joined already.
#[test]
fn one_can_for_two_needs_one_common() {
    let Wanted::Capacitor(ohmtrail_stock::Can::One(herm)) = single("45 uF") else {
        panic!("single");
    };
    let Wanted::Capacitor(ohmtrail_stock::Can::One(fan)) = single("5 uF") else {
        panic!("single");
    };
    let stock = stock("capacitor,dual,1,,45 uF,5 uF,6 %,440 V,run\n");
    for (common, outcome) in [
        (Some(true), Outcome::Fits),
        (None, Outcome::Unknown),
        (Some(false), Outcome::Refused),
    ] {
        let pair = Wanted::Pair {
            sections: [("herm-cap".into(), herm), ("fan-cap".into(), fan)],
            common,
        };
        let found = offers(&pair, &stock);
        let all = found
            .fits
            .iter()
            .chain(&found.unknown)
            .chain(&found.refused);
        let outcomes: Vec<Outcome> = all.map(|o| o.outcome).collect();
        assert_eq!(outcomes, [outcome], "{common:?}");
    }
}

/// From the sheet of an invented unit: its capacitors, what its contactor switches, and what there
/// is no rule for.
#[test]
fn failed_parts_of_a_sheet() {
    let sheet = read_builtin("split-cooling-1ph-single")
        .expect("a sheet")
        .expect("built in");
    let at = |name: &str| sheet.parts.iter().position(|p| p.name == name).expect(name);
    let parts = [
        at("herm-cap"),
        at("fan-cap"),
        at("contactor"),
        at("compressor"),
    ];
    let plates = [
        PlateValue {
            part: "compressor".into(),
            key: "lra".into(),
            text: "96 A".into(),
        },
        PlateValue {
            part: "contactor".into(),
            key: "coil".into(),
            text: "24 V".into(),
        },
        PlateValue {
            part: "contactor".into(),
            key: "colour".into(),
            text: "grey".into(),
        },
    ];
    let all = failed(&sheet, &parts, &plates, Some("60 Hz"));
    let of = |name: &str| {
        let mut found = all.iter().filter_map(|f| f.as_ref().ok());
        found
            .find(|f| f.part == name)
            .unwrap_or_else(|| panic!("{name} in {all:#?}"))
    };
    let Wanted::Contactor(plate, load) = &of("contactor").wanted else {
        panic!("a contactor");
    };
    assert_eq!(plate.poles, Some(1));
    assert!(load.hermetic);
    let motors = ["compressor", "fan-motor"].map(|name| {
        let part = sheet.parts.iter().find(|p| p.name == name);
        let part = part.expect(name);
        let rated = part
            .kind
            .params
            .iter()
            .position(|p| p.name == "rated-amps")
            .expect("rated");
        part.values[rated]
    });
    let sum = load.full_load.expect("known").get();
    assert!(
        (sum - motors[0] - motors[1]).abs() < 1e-6,
        "{sum} {motors:?}"
    );
    assert_eq!(load.locked_rotor.map(|a| a.get()), Some(96.0));
    let said = of("contactor").from.join("\n");
    assert!(said.contains("colour grey is not used"), "{said}");
    // Both capacitors hang on the contactor's load side.
    let pair = all
        .iter()
        .filter_map(|f| f.as_ref().ok())
        .find(|f| f.part.contains('+'));
    let Some(Wanted::Pair { common, .. }) = pair.map(|p| &p.wanted) else {
        panic!("a pair in {all:#?}");
    };
    assert_eq!(*common, Some(true));
    // No number was read of the compressor.
    let compressor = Wanted::Numbered { number: None };
    assert_eq!(of("compressor").wanted, compressor);
}

/// A compressor is found by its maker's number, or as what its maker names for it; parts of other numbers are
/// other parts.
#[test]
fn a_compressor_is_found_by_its_number() {
    let stock = Stock::read(
        "truck.csv",
        b"kind,name,quantity,number,replaces\n\
          numbered-part,same,1,CX40-1,\n\
          numbered-part,newer,1,DX 9,\"CX 36-1, cx 40-1\"\n\
          numbered-part,switch,3,P 400,\n\
          numbered-part,empty,0,CX 40-1,\n",
    );
    let wanted = Wanted::Numbered {
        number: Some("CX 40-1".into()),
    };
    let found = offers(&wanted, &stock.expect("a stock"));
    let names: Vec<&str> = found
        .fits
        .iter()
        .map(|o| o.pieces[0].name.as_str())
        .collect();
    assert_eq!(names, ["same", "newer"]);
    assert!(
        found.unknown.is_empty() && found.refused.is_empty(),
        "{found:?}"
    );
    assert_eq!(
        (found.other_kinds, found.none_left),
        (1, vec!["empty".to_owned()])
    );
}

proptest! {
    /// The search finds exactly what trying every multiset of up to three cans finds.
    #[test]
    fn the_search_misses_nothing(
        cans in prop::collection::vec((1u32..40, 0u32..4), 1..8),
        target in 1u32..90,
    ) {
        let lines: String = cans
            .iter()
            .enumerate()
            .map(|(i, (tenths, n))| {
                format!("capacitor,c{i},{n},{}.{} uF,,,5 %,440 V,run\n", tenths / 2, tenths % 2 * 5)
            })
            .collect();
        let found = offers(&single(&format!("{}.{} uF", target / 2, target % 2 * 5)), &stock(&lines));
        let mut expected: Vec<Vec<usize>> = Vec::new();
        let n = cans.len();
        let mut tried: Vec<Vec<usize>> = (0..n).map(|i| vec![i]).collect();
        for a in 0..n {
            for b in a..n {
                tried.push(vec![a, b]);
                tried.extend((b..n).map(|c| vec![a, b, c]));
            }
        }
        for set in tried {
            let there = |i: &usize| set.iter().filter(|j| *j == i).count() <= cans[*i].1 as usize;
            let sum: u32 = set.iter().map(|&i| cans[i].0).sum();
            if set.iter().all(there) && sum == target {
                expected.push(set);
            }
        }
        let mut got: Vec<Vec<usize>> = found
            .fits
            .iter()
            .map(|o| {
                let number = |name: &str| name[1..].parse().expect("a number");
                let mut set: Vec<usize> = o.pieces.iter().map(|p| number(&p.name)).collect();
                set.sort_unstable();
                set
            })
            .collect();
        prop_assert!(got.iter().all(|set| set.len() <= MOST_PIECES));
        got.sort();
        expected.sort();
        if found.left_off {
            prop_assert!(expected.len() > got.len());
            prop_assert!(got.iter().all(|set| expected.contains(set)));
        } else {
            prop_assert_eq!(got, expected);
        }
    }
}
