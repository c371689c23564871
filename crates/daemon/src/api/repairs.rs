//! A repair, begun from the visit that found what failed.

use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use serde::Deserialize;
use utoipa::ToSchema;

use super::App;
use super::extract::{Body, Named};
use super::problem::Problem;
use super::visits::{Joins, begun, joining};
use crate::visits::view::VisitView;
use crate::visits::{RepairError, Repairer};

/// A repair.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewRepair {
    /// Who does it.
    #[serde(default)]
    technician: String,
    /// The work order; that of the visit before where there is none.
    #[serde(default)]
    work_order: String,
    /// The parts to fit, by the sheet's names; those of the finding where there are none.
    #[serde(default)]
    fit: Vec<String>,
    /// The meters that join it.
    #[serde(default)]
    meters: Vec<Joins>,
}

impl From<RepairError> for Problem {
    fn from(error: RepairError) -> Self {
        let words = error.to_string();
        match error {
            RepairError::Open(error) => error.into(),
            RepairError::Trail(_) => Problem::system(words),
            RepairError::Damaged => Problem::new(
                StatusCode::CONFLICT,
                "trail-damaged",
                words,
                "GET /api/v1/visits/{visit}/trail/verify says where; look at the unit anew in a visit of its own",
            ),
            RepairError::Nothing(_) => Problem::new(
                StatusCode::CONFLICT,
                "nothing-to-repair",
                words,
                "docs/repair.md says what a repair sets out from",
            ),
        }
    }
}

/// Begin the repair of what a visit found
///
/// A visit of its own, of the same unit and sheet: it is in its trail, on disk, when this answers. The
/// visit before has ended, and its trail is sound.
#[utoipa::path(post, path = "/api/v1/visits/{visit}/repair", tag = "visits", request_body = NewRepair,
    params(("visit" = String, Path)),
    responses((status = 201, body = VisitView), Problem))]
pub async fn begin(
    State(app): State<App>,
    Named(visit): Named<String>,
    Body(new): Body<NewRepair>,
) -> Result<(StatusCode, Json<VisitView>), Problem> {
    let meters = joining(&app, new.meters)?;
    let earlier = app.visit(&visit)?;
    let repairer = Repairer {
        work_order: new.work_order,
        technician: new.technician,
        parts: new.fit,
    };
    let visit = app.visits().repair(&earlier, repairer).await?;
    begun(&visit, meters).await
}
