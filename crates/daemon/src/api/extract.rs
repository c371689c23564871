//! What requests hold, with a problem for what is not understood.

use axum::body::Bytes;
use axum::extract::{FromRequest, FromRequestParts, Request};

use super::problem::Problem;

/// A JSON body.
#[derive(Debug, FromRequest)]
#[from_request(via(axum::Json), rejection(Problem))]
pub struct Body<T>(pub T);

/// What a path names.
#[derive(Debug, FromRequestParts)]
#[from_request(via(axum::extract::Path), rejection(Problem))]
pub struct Named<T>(pub T);

/// A query.
#[derive(Debug, FromRequestParts)]
#[from_request(via(axum::extract::Query), rejection(Problem))]
pub struct Query<T>(pub T);

/// A body as it is.
#[derive(Debug)]
pub struct Raw(pub Bytes);

impl<S: Send + Sync> FromRequest<S> for Raw {
    type Rejection = Problem;

    async fn from_request(request: Request, state: &S) -> Result<Self, Problem> {
        Ok(Raw(Bytes::from_request(request, state).await?))
    }
}
