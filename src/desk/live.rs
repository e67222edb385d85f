//! `/api/live/…`: the microphone of this machine.

use super::error::{ApiError, ApiResult};
use super::events::News;
use axum::http::StatusCode;
use axum::response::Response;
use std::path::Path;
use tokio::sync::broadcast;

#[derive(Debug)]
pub(super) struct Microphone;

impl Microphone {
    pub(super) fn new(_log: &Path, _news: broadcast::Sender<News>) -> Self {
        Self
    }

    pub(super) fn stop(&self) {}
}

fn none() -> ApiError {
    ApiError::new(
        StatusCode::NOT_FOUND,
        "this takebook was built without the microphone",
    )
}

pub(super) async fn devices() -> ApiResult<Response> {
    Err(none())
}
pub(super) async fn start() -> ApiResult<Response> {
    Err(none())
}
pub(super) async fn stop() -> ApiResult<Response> {
    Err(none())
}
pub(super) async fn keep() -> ApiResult<Response> {
    Err(none())
}
