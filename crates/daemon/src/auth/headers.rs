//! The headers that tell a browser what a page of ours may not do.

use axum::http::header::{
    CACHE_CONTROL, CONTENT_SECURITY_POLICY, REFERRER_POLICY, X_CONTENT_TYPE_OPTIONS,
    X_FRAME_OPTIONS,
};
use axum::http::{HeaderMap, HeaderName, HeaderValue};

/// Every response's, unless the handler has set its own.
const HEADERS: [(HeaderName, HeaderValue); 8] = [
    (
        CONTENT_SECURITY_POLICY,
        HeaderValue::from_static(
            "default-src 'self'; img-src 'self' data: blob:; object-src 'none'; base-uri 'none'; \
             form-action 'self'; frame-ancestors 'none'",
        ),
    ),
    (X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff")),
    (X_FRAME_OPTIONS, HeaderValue::from_static("DENY")),
    // A pairing link carries its code: it is told to no other site. Not `no-referrer`, under which
    // a browser sends a form of ours with `Origin: null` (Fetch Standard, on the `Origin` header),
    // and that is refused.
    (REFERRER_POLICY, HeaderValue::from_static("same-origin")),
    (
        HeaderName::from_static("cross-origin-opener-policy"),
        HeaderValue::from_static("same-origin"),
    ),
    (
        HeaderName::from_static("cross-origin-resource-policy"),
        HeaderValue::from_static("same-origin"),
    ),
    (
        HeaderName::from_static("permissions-policy"),
        HeaderValue::from_static("camera=(self), geolocation=(), microphone=()"),
    ),
    // What was measured at a customer's is not left in a phone's cache.
    (CACHE_CONTROL, HeaderValue::from_static("no-store")),
];

/// Adds them.
pub(super) fn add(headers: &mut HeaderMap) {
    for (name, value) in HEADERS {
        headers.entry(name).or_insert(value);
    }
}
