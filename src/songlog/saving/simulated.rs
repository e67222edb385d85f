//! A file system in memory that loses what was not synced.
//!
//! What is modelled: bytes of a file reach the disk when it is synced, and
//! before that not at all, in half or whole; names reach the disk in the order
//! they were changed, and at the latest when the folder of the new name is
//! synced. A step can fail, once or from then on, or be the last before the
//! power goes.

use super::{Disk, NewFile};
use std::cell::RefCell;
use std::collections::BTreeMap;
use std::ffi::OsString;
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};
use std::rc::Rc;

/// What happens at a step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Trouble {
    /// The process or the machine stops; a write gets half done.
    Stop,
    /// This step fails, the next may succeed.
    FailOnce(ErrorKind),
    /// This and all later steps of the same kind fail.
    FailOn(ErrorKind),
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Step {
    Create,
    Write,
    Sync,
    Rename,
    Remove,
    SyncFolder,
}

#[derive(Debug, Clone, Default)]
struct Content {
    now: Vec<u8>,
    on_disk: Option<Vec<u8>>,
}

/// A change of names: taken away, and put in its place.
#[derive(Debug, Clone)]
struct Change {
    gone: Option<PathBuf>,
    put: Option<(PathBuf, usize)>,
}

#[derive(Debug, Clone, Default)]
struct State {
    files: Vec<Content>,
    names: BTreeMap<PathBuf, usize>,
    names_on_disk: BTreeMap<PathBuf, usize>,
    pending: Vec<Change>,
    n_steps: usize,
    trouble: Option<(usize, Trouble)>,
    failing: Option<(Step, ErrorKind)>,
    stopped: bool,
}

/// The file system; clones share it.
#[derive(Debug, Clone, Default)]
pub(super) struct Simulated(Rc<RefCell<State>>);

/// How much of what was not synced is on the disk after a power cut.
pub(super) const SHARES: [f64; 3] = [0.0, 0.5, 1.0];

impl Simulated {
    /// How many steps were taken.
    pub(super) fn n_steps(&self) -> usize {
        self.0.borrow().n_steps
    }

    /// Trouble at a step, counted from now as 0.
    pub(super) fn plan(&self, at: usize, trouble: Trouble) {
        let mut state = self.0.borrow_mut();
        state.trouble = Some((state.n_steps + at, trouble));
    }

    /// No more trouble.
    pub(super) fn calm(&self) {
        let mut state = self.0.borrow_mut();
        state.trouble = None;
        state.failing = None;
    }

    /// An own copy, as it is.
    pub(super) fn copy(&self) -> Self {
        Self(Rc::new(RefCell::new(self.0.borrow().clone())))
    }

    /// What a new process finds if only this process was killed.
    pub(super) fn after_kill(&self) -> Self {
        let other = self.copy();
        let mut state = other.0.borrow_mut();
        (state.stopped, state.trouble, state.failing) = (false, None, None);
        drop(state);
        other
    }

    /// All that may be found after a power cut.
    pub(super) fn after_power_cut(&self) -> Vec<Self> {
        let state = self.0.borrow();
        let mut all = Vec::new();
        for n_changes in 0..=state.pending.len() {
            for share in SHARES {
                let mut names = state.names_on_disk.clone();
                for change in &state.pending[..n_changes] {
                    apply(&mut names, change);
                }
                let files: Vec<Content> = state
                    .files
                    .iter()
                    .map(|f| {
                        let part = (f.now.len() as f64 * share) as usize;
                        let left = f.on_disk.clone().unwrap_or_else(|| f.now[..part].to_vec());
                        Content {
                            now: left.clone(),
                            on_disk: Some(left),
                        }
                    })
                    .collect();
                all.push(Self(Rc::new(RefCell::new(State {
                    files,
                    names_on_disk: names.clone(),
                    names,
                    ..State::default()
                }))));
            }
        }
        all
    }

    /// Counts a step and fails it if that was planned.
    fn step(&self, step: Step) -> io::Result<()> {
        let mut state = self.0.borrow_mut();
        if state.stopped {
            return Err(io::Error::other("stopped"));
        }
        let n = state.n_steps;
        state.n_steps += 1;
        match state.trouble {
            Some((at, Trouble::Stop)) if at == n => {
                state.stopped = true;
                return Err(io::Error::other("stopped"));
            }
            Some((at, Trouble::FailOnce(kind))) if at == n => return Err(kind.into()),
            Some((at, Trouble::FailOn(kind))) if at == n => state.failing = Some((step, kind)),
            _ => {}
        }
        match state.failing {
            Some((failing, kind)) if failing == step => Err(kind.into()),
            _ => Ok(()),
        }
    }

    fn change(&self, change: Change) {
        let mut state = self.0.borrow_mut();
        apply(&mut state.names, &change);
        state.pending.push(change);
    }
}

fn apply(names: &mut BTreeMap<PathBuf, usize>, change: &Change) {
    if let Some(gone) = &change.gone {
        names.remove(gone);
    }
    if let Some((path, id)) = &change.put {
        names.insert(path.clone(), *id);
    }
}

impl Disk for Simulated {
    type File = SimulatedFile;

    fn names(&self, folder: &Path) -> io::Result<Vec<OsString>> {
        let state = self.0.borrow();
        Ok(state
            .names
            .keys()
            .filter(|p| p.parent() == Some(folder))
            .filter_map(|p| p.file_name())
            .map(Into::into)
            .collect())
    }

    fn read(&self, path: &Path) -> io::Result<Option<Vec<u8>>> {
        let state = self.0.borrow();
        Ok(state.names.get(path).map(|id| state.files[*id].now.clone()))
    }

    fn exists(&self, path: &Path) -> bool {
        self.0.borrow().names.contains_key(path)
    }

    fn create(&self, path: &Path, _like: &Path) -> io::Result<Self::File> {
        self.step(Step::Create)?;
        if self.exists(path) {
            return Err(ErrorKind::AlreadyExists.into());
        }
        let id = self.0.borrow().files.len();
        self.0.borrow_mut().files.push(Content::default());
        self.change(Change {
            gone: None,
            put: Some((path.into(), id)),
        });
        Ok(SimulatedFile {
            disk: self.clone(),
            id,
        })
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        self.step(Step::Rename)?;
        let id = *self.0.borrow().names.get(from).ok_or(ErrorKind::NotFound)?;
        self.change(Change {
            gone: Some(from.into()),
            put: Some((to.into(), id)),
        });
        Ok(())
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        self.step(Step::Remove)?;
        self.change(Change {
            gone: Some(path.into()),
            put: None,
        });
        Ok(())
    }

    fn sync_folder(&self, folder: &Path) -> io::Result<()> {
        self.step(Step::SyncFolder)?;
        let mut state = self.0.borrow_mut();
        let touches = |p: &Path| p.parent() == Some(folder);
        // names come in order: what was changed before comes along
        let n = state
            .pending
            .iter()
            .rposition(|c| match (&c.put, &c.gone) {
                (Some((put, _)), _) => touches(put),
                (None, Some(gone)) => touches(gone),
                (None, None) => false,
            })
            .map_or(0, |i| i + 1);
        let done: Vec<Change> = state.pending.drain(..n).collect();
        for change in &done {
            apply(&mut state.names_on_disk, change);
        }
        Ok(())
    }
}

/// A file of [`Simulated`].
pub(super) struct SimulatedFile {
    disk: Simulated,
    id: usize,
}

impl NewFile for SimulatedFile {
    fn write_all(&mut self, bytes: &[u8]) -> io::Result<()> {
        let result = self.disk.step(Step::Write);
        let n = if result.is_ok() {
            bytes.len()
        } else {
            bytes.len() / 2
        };
        let mut state = self.disk.0.borrow_mut();
        state.files[self.id].now.extend_from_slice(&bytes[..n]);
        result
    }

    fn sync(&self) -> io::Result<()> {
        self.disk.step(Step::Sync)?;
        let mut state = self.disk.0.borrow_mut();
        let content = &mut state.files[self.id];
        content.on_disk = Some(content.now.clone());
        Ok(())
    }
}
