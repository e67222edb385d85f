//! Connections: how many there may be of those who have not shown a cookie, and how long
//! they may take to say what they want.
//!
//! A program without the link can open connections to the port. It is given
//! [`N_STRANGERS`] at a time and [`HEADER_WITHIN`] to send a request; one more
//! closes the oldest of them, once that had [`GRACE`] to be heard. A page with its cookie is never closed for
//! another's sake, so that descriptors for saving are always left.

use axum::Router;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use std::collections::VecDeque;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};
use tokio::net::{TcpListener, TcpStream};
use tokio::task::AbortHandle;

/// Connections at a time that have shown no cookie.
pub(super) const N_STRANGERS: usize = 48;
/// How long a connection may take to send the head of a request, or idle.
pub(super) const HEADER_WITHIN: Duration = Duration::from_secs(10);
/// What a connection gets in any case to show its cookie: many of a page's own may come at once.
const GRACE: Duration = Duration::from_millis(100);
/// Between two looks at whether they did.
const LOOK: Duration = Duration::from_millis(5);
/// After a connection could not be accepted, for want of descriptors.
const REST: Duration = Duration::from_millis(50);

/// Whoever is at the other end of a connection.
#[derive(Debug, Default)]
pub(super) struct Visitor {
    is_known: AtomicBool,
}

impl Visitor {
    /// It has shown the cookie or a good key.
    pub(super) fn is_let_in(&self) {
        self.is_known.store(true, Ordering::Relaxed);
    }
}

#[derive(Debug)]
struct Stranger {
    visitor: Arc<Visitor>,
    task: AbortHandle,
    since: Instant,
}

/// Connections without a cookie, the oldest first.
#[derive(Debug, Default)]
struct Strangers {
    all: Mutex<VecDeque<Stranger>>,
}

impl Strangers {
    /// Those that are still strangers.
    fn still(&self) -> MutexGuard<'_, VecDeque<Stranger>> {
        let mut all = self.all.lock().unwrap_or_else(PoisonError::into_inner);
        all.retain(|s| !s.visitor.is_known.load(Ordering::Relaxed) && !s.task.is_finished());
        all
    }

    /// Whether there are too many, and the oldest has just come.
    fn are_all_new(&self) -> bool {
        let all = self.still();
        let oldest = all.front();
        all.len() >= N_STRANGERS && oldest.is_some_and(|s| s.since.elapsed() < GRACE)
    }

    /// Takes one in; the oldest goes if there are too many.
    fn take_in(&self, visitor: Arc<Visitor>, task: AbortHandle) {
        let mut all = self.still();
        if all.len() >= N_STRANGERS
            && let Some(oldest) = all.pop_front()
        {
            oldest.task.abort();
        }
        all.push_back(Stranger {
            visitor,
            task,
            since: Instant::now(),
        });
    }
}

/// Serves every connection; never returns by itself.
pub(super) async fn serve(listener: TcpListener, app: Router) {
    let strangers = Strangers::default();
    loop {
        match listener.accept().await {
            Ok((stream, _)) => {
                while strangers.are_all_new() {
                    tokio::time::sleep(LOOK).await;
                }
                let visitor = Arc::new(Visitor::default());
                let task = tokio::spawn(converse(stream, app.clone(), Arc::clone(&visitor)));
                strangers.take_in(visitor, task.abort_handle());
            }
            Err(_) => tokio::time::sleep(REST).await,
        }
    }
}

async fn converse(stream: TcpStream, app: Router, visitor: Arc<Visitor>) {
    // small answers must not wait for one another
    let _ = stream.set_nodelay(true);
    let app = app.layer(axum::Extension(visitor));
    // a connection that breaks off is no fault of the desk
    let _ = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEADER_WITHIN)
        .serve_connection(TokioIo::new(stream), TowerToHyperService::new(app))
        .await;
}
