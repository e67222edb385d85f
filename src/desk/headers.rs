//! Headers that every answer carries.
//!
//! The list is that of the OWASP HTTP Headers Cheat Sheet. Left out are the
//! ones it says not to send (`Server`, `X-Powered-By`, `Expect-CT`,
//! `Public-Key-Pins`, `X-XSS-Protection`), `Access-Control-Allow-Origin`, since
//! no other origin may read anything, and `Strict-Transport-Security`, which
//! RFC 6797 forbids over plain HTTP.

use axum::http::{HeaderMap, HeaderName, HeaderValue, header};

/// What the page may load: its own files.
const PAGE_POLICY: &str = "default-src 'self'; object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'";
/// A delivered chart carries its own style, runs nothing, and may be shown inside the page.
const CHART_POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; \
     font-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'self'";

const FOR_ALL: [(HeaderName, &str); 7] = [
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::REFERRER_POLICY, "no-referrer"),
    (
        HeaderName::from_static("cross-origin-opener-policy"),
        "same-origin",
    ),
    (
        HeaderName::from_static("cross-origin-resource-policy"),
        "same-origin",
    ),
    (
        HeaderName::from_static("cross-origin-embedder-policy"),
        "require-corp",
    ),
    (
        HeaderName::from_static("permissions-policy"),
        "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
    ),
    (HeaderName::from_static("x-dns-prefetch-control"), "off"),
];

/// Adds them; a chart that is shown has laxer ones about style and frames.
pub(super) fn secure(headers: &mut HeaderMap, is_chart: bool) {
    for (name, value) in FOR_ALL {
        headers.insert(name, HeaderValue::from_static(value));
    }
    let (policy, frame) = if is_chart {
        (CHART_POLICY, "SAMEORIGIN")
    } else {
        (PAGE_POLICY, "DENY")
    };
    headers.insert(
        header::CONTENT_SECURITY_POLICY,
        HeaderValue::from_static(policy),
    );
    headers.insert(header::X_FRAME_OPTIONS, HeaderValue::from_static(frame));
    if !headers.contains_key(header::CACHE_CONTROL) {
        headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    }
}
