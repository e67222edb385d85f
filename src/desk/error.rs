//! What can go wrong: when the desk opens, and while it answers.

use crate::deciding::DecideError;
use crate::songlog::LogError;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde_json::{Value, json};

/// Why a desk cannot be opened or goes down.
#[derive(Debug)]
#[non_exhaustive]
pub enum DeskError {
    /// The log cannot be read.
    Log(LogError),
    /// The folder cannot be listed.
    Folder {
        /// Which.
        path: std::path::PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// No port can be had; another program may have it: choose another.
    Port {
        /// Which was asked for; 0 for any.
        port: u16,
        /// What the system said.
        source: std::io::Error,
    },
    /// The server cannot run.
    Serve(std::io::Error),
    /// The system gives no random numbers to make a key of.
    Key,
}

impl std::fmt::Display for DeskError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Log(source) => source.fmt(f),
            Self::Folder { path, source } => {
                write!(f, "cannot list the folder '{}': {source}", path.display())
            }
            Self::Port { port: 0, source } => {
                write!(f, "no port of this machine can be had: {source}")
            }
            Self::Port { port, source } => write!(
                f,
                "port {port} cannot be had: {source} (name another with --port, or leave it out)"
            ),
            Self::Serve(source) => write!(f, "the desk cannot serve: {source}"),
            Self::Key => write!(f, "the system gives no random numbers to make a key of"),
        }
    }
}

impl std::error::Error for DeskError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Log(source) => Some(source),
            Self::Folder { source, .. } | Self::Port { source, .. } | Self::Serve(source) => {
                Some(source)
            }
            Self::Key => None,
        }
    }
}

/// An answer that is an error: a status and a sentence.
#[derive(Debug)]
pub(super) struct ApiError {
    status: StatusCode,
    body: Value,
}

pub(super) type ApiResult<T> = Result<T, ApiError>;

impl ApiError {
    pub(super) fn new(status: StatusCode, text: impl Into<String>) -> Self {
        Self {
            status,
            body: json!({"error": without_codes(&text.into())}),
        }
    }

    pub(super) fn bad(text: impl Into<String>) -> Self {
        Self::new(StatusCode::BAD_REQUEST, text)
    }

    /// The sentence.
    pub(super) fn text(&self) -> &str {
        self.body["error"].as_str().unwrap_or_default()
    }

    /// With one more field beside the sentence.
    pub(super) fn with(mut self, name: &str, value: Value) -> Self {
        self.body[name] = value;
        self
    }
}

impl IntoResponse for ApiError {
    fn into_response(self) -> Response {
        json_response(self.status, &self.body)
    }
}

/// JSON that no cache keeps.
pub(super) fn json_response(status: StatusCode, body: &Value) -> Response {
    let headers = [
        (
            header::CONTENT_TYPE,
            HeaderValue::from_static("application/json"),
        ),
        (header::CACHE_CONTROL, HeaderValue::from_static("no-store")),
    ];
    (status, headers, body.to_string()).into_response()
}

impl From<LogError> for ApiError {
    fn from(error: LogError) -> Self {
        let status = match &error {
            LogError::Read { source, .. } if source.kind() == std::io::ErrorKind::NotFound => {
                StatusCode::NOT_FOUND
            }
            LogError::Busy { .. } => StatusCode::CONFLICT,
            _ => StatusCode::INTERNAL_SERVER_ERROR,
        };
        match error {
            // where in the file is for whoever mends it
            LogError::Wrong { path, place, reason } => Self::new(
                status,
                format!(
                    "the song file '{}' is damaged: {reason} (the folder .takebook beside it has copies of before)",
                    path.file_name().unwrap_or_default().to_string_lossy()
                ),
            )
            .with("at", place.into()),
            error => Self::new(status, error.to_string()),
        }
    }
}

/// A sentence without the numbers that systems give their errors.
fn without_codes(text: &str) -> String {
    let mut out = String::new();
    let mut rest = text;
    while let Some((before, after)) = rest.split_once(" (os error ") {
        out.push_str(before);
        rest = after.split_once(')').map_or("", |(_, rest)| rest);
    }
    out + rest
}

impl From<DecideError> for ApiError {
    fn from(error: DecideError) -> Self {
        match error {
            DecideError::Log(log) => log.into(),
            DecideError::Unfit { .. } => Self::new(StatusCode::CONFLICT, error.to_string()),
            _ => Self::bad(error.to_string()),
        }
    }
}

/// Runs what reads files or computes off the threads that answer.
pub(super) async fn off_thread<T: Send + 'static>(
    work: impl FnOnce() -> ApiResult<T> + Send + 'static,
) -> ApiResult<T> {
    tokio::task::spawn_blocking(work).await.unwrap_or_else(|_| {
        Err(ApiError::new(
            StatusCode::INTERNAL_SERVER_ERROR,
            "a fault of the program stopped this request; nothing was changed by it",
        ))
    })
}

#[cfg(test)]
mod tests {
    use super::without_codes;

    #[test]
    fn a_sentence_keeps_its_words_and_loses_the_codes() {
        let check = |text: &str, expected: &str| assert_eq!(without_codes(text), expected);
        check(
            "cannot read 'a': No such file (os error 2)",
            "cannot read 'a': No such file",
        );
        check("a (b) (os error 13): c (os error 2), d", "a (b): c, d");
        check("cut off (os error 2", "cut off");
        check("plain", "plain");
    }
}
