//! Work on several threads whose results come in order.

use std::collections::BTreeMap;
use std::ops::Range;
use std::sync::atomic::{AtomicUsize, Ordering};

/// Does every job on so many threads and hands the results on, the first job's first.
///
/// Threads of their own, not tasks of rayon's: a rayon thread that waits would begin further jobs
/// meanwhile, one inside the other, and hold the inputs of them all.
///
/// # Errors
/// * The first that a job gives; no further job is begun then.
pub(crate) fn in_order<T: Send, E: Send>(
    jobs: Range<usize>,
    n_threads: usize,
    job: impl Fn(usize) -> Result<T, E> + Sync,
    mut take: impl FnMut(T),
) -> Result<(), E> {
    let next = AtomicUsize::new(jobs.start);
    std::thread::scope(|scope| {
        let (sender, receiver) = std::sync::mpsc::channel();
        for _ in 0..n_threads.min(jobs.len()) {
            let (sender, next, job) = (sender.clone(), &next, &job);
            let end = jobs.end;
            scope.spawn(move || {
                loop {
                    let i = next.fetch_add(1, Ordering::Relaxed);
                    // nobody listens any more only if another job failed
                    if i >= end || sender.send((i, job(i))).is_err() {
                        break;
                    }
                }
            });
        }
        drop(sender);
        let (mut early, mut n_taken) = (BTreeMap::new(), jobs.start);
        for (i, result) in receiver {
            early.insert(i, result?);
            while let Some(result) = early.remove(&n_taken) {
                take(result);
                n_taken += 1;
            }
        }
        Ok(())
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn results_come_in_order_and_the_first_error_ends_it() {
        for n_threads in [1, 3, 8] {
            let mut all = Vec::new();
            let done: Result<(), ()> = in_order(5..50, n_threads, Ok, |i| all.push(i));
            assert_eq!(done, Ok(()));
            assert_eq!(all, (5..50).collect::<Vec<_>>());
            let failing = |i| if i == 20 { Err("no") } else { Ok(i) };
            let mut n_taken = 0;
            assert_eq!(
                in_order(0..50, n_threads, failing, |_| n_taken += 1),
                Err("no")
            );
            assert!(n_taken <= 20);
        }
        let none: Result<(), ()> = in_order(3..3, 2, |_| Ok(()), |()| unreachable!());
        assert_eq!(none, Ok(()));
    }
}
