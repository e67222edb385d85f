//! What goes wrong around a folder of songs: a disk without room, too much at once, several who
//! work at once, a desk that is killed. Nothing is lost, nothing half-written, and words say what
//! to do.

use super::Desk;
use super::client::{Answer, send, take_and_log};
use crate::log_sample;
use crate::outside;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};
use takebook::songlog::{resolve, store};

/// Bytes of a page of memory, which a disk in memory hands out whole.
const PAGE: u64 = 4096;
const BYTES: &str = "application/octet-stream";

/// A desk on a folder that is a small disk of its own, which no other program sees.
pub(super) struct SmallDisk {
    pub(super) desk: Desk,
    /// The folder, as it is reached from outside.
    pub(super) folder: PathBuf,
}

impl SmallDisk {
    /// A disk of so many KiB; the desk's microphone, if any, is that of a configuration.
    pub(super) fn open(outer: &Path, kib: u64, microphone: Option<&Path>) -> Self {
        let small = outer.join("small");
        std::fs::create_dir(&small).expect("a folder");
        let script = format!(
            "mount -t tmpfs -o size={kib}k,mode=777 none \"$1\" || exit 9; exec \"$0\" desk --no-open \"$1\""
        );
        let id = outside::tool("id").arg("-u").output().expect("id runs");
        let mut command = outside::tool("unshare");
        if id.stdout != b"0\n" {
            command.arg("--map-root-user");
        }
        command.args(["--mount", "sh", "-c", &script]);
        command.arg(outside::takebook().get_program()).arg(&small);
        if let Some(config) = microphone {
            command.env("ALSA_CONFIG_PATH", config);
        }
        // it fails in words if no disk can be mounted: by root, or where user namespaces are allowed
        let desk = Desk::start(command).entered();
        let folder = PathBuf::from(format!("/proc/{}/root{}", desk.pid(), small.display()));
        assert!(
            folder.is_dir(),
            "the disk of the desk cannot be seen: {}",
            folder.display()
        );
        Self { desk, folder }
    }

    /// Fills it but for so many KiB.
    pub(super) fn fill(&self, but_kib: u64) {
        let path = self.folder.join("filler");
        let mut file = std::fs::File::create(&path).expect("a file");
        let page = vec![1; PAGE as usize];
        let mut n = 0;
        while file.write_all(&page).is_ok() {
            n += 1;
        }
        let left = (n * PAGE).saturating_sub(but_kib << 10);
        file.set_len(left).expect("shorter");
    }

    pub(super) fn empty(&self) {
        std::fs::remove_file(self.folder.join("filler")).expect("removed");
    }
}

/// What is in a folder, to the byte, without what need not be seen.
fn contents(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let entries = std::fs::read_dir(folder).expect("a folder");
    entries
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.is_file())
        .map(|path| {
            let name = path
                .file_name()
                .expect("a name")
                .to_string_lossy()
                .into_owned();
            (name, std::fs::read(&path).expect("readable"))
        })
        .collect()
}

fn half_written(folder: &Path) -> usize {
    let side = std::fs::read_dir(folder.join(".takebook"))
        .into_iter()
        .flatten();
    let name = |e: std::io::Result<std::fs::DirEntry>| e.expect("an entry").file_name();
    side.map(name)
        .filter(|n| n.to_string_lossy().ends_with(".part"))
        .count()
}

fn typed(title: &str) -> String {
    format!(
        "{title}\n{}\nKey: G\nTempo: 96\n\nVerse\n| G | C | D | G |\n",
        "=".repeat(title.len())
    )
}

/// The head of a request that adds a file; without a length its parts come one by one.
fn head(desk: &Desk, name: &str, length: Option<usize>) -> String {
    let length = length.map_or("Transfer-Encoding: chunked".into(), |n| {
        format!("Content-Length: {n}")
    });
    format!(
        "POST /api/add?name={name} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nCookie: {}\r\nOrigin: {}\r\nContent-Type: {BYTES}\r\n{length}\r\nConnection: close\r\n\r\n",
        desk.port,
        desk.cookie,
        desk.origin(),
    )
}

fn add(desk: &Desk, name: &str, body: &[u8]) -> Answer {
    let all = [head(desk, name, Some(body.len())).as_bytes(), body].concat();
    send(desk.port, &all).expect("an answer")
}

fn add_in_parts(desk: &Desk, name: &str, body: &[u8]) -> Answer {
    let mut all = head(desk, name, None).into_bytes();
    for part in body.chunks(100_000) {
        all.extend(format!("{:x}\r\n", part.len()).bytes());
        all.extend(part);
        all.extend(b"\r\n");
    }
    all.extend(b"0\r\n\r\n");
    send(desk.port, &all).expect("an answer")
}

/// The entries of the queue, once they fit.
#[track_caller]
fn queue(desk: &Desk, fits: impl Fn(&[Value]) -> bool) -> Vec<Value> {
    let began = Instant::now();
    loop {
        let told = desk.json("/api/adding");
        let entries = told["entries"].as_array().expect("entries").clone();
        if fits(&entries) {
            return entries;
        }
        assert!(began.elapsed() < Duration::from_secs(60), "{told}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

fn is_over(entry: &Value) -> bool {
    entry["stage"] == "done" || entry["stage"] == "failed"
}

#[test]
fn a_full_disk_takes_no_file_in_by_half_and_says_so() {
    let (_keep, outer) = outside::folder();
    let disk = SmallDisk::open(&outer, 2000, None);
    let desk = &disk.desk;
    let large = vec![7; 3_000_000];
    // by what is announced, and by what comes
    for answer in [
        add(desk, "a.wav", &large),
        add_in_parts(desk, "a.wav", &large),
    ] {
        assert_eq!(answer.status, 507, "{}", answer.text());
        assert!(
            answer.error().contains("the disk has no room for it"),
            "{}",
            answer.error()
        );
    }
    assert_eq!(contents(&disk.folder), BTreeMap::new());
    assert_eq!(half_written(&disk.folder), 0);
    queue(desk, |all| all.is_empty());

    // room for the chart, and none for its song: the chart stays, and is tried again
    disk.fill(6);
    let answer = add(desk, "ferry.txt", typed("Ferry Lights").as_bytes());
    assert_eq!(answer.status, 200, "{}", answer.text());
    let [entry] = &queue(desk, |all| all.iter().all(is_over))[..] else {
        panic!("one entry");
    };
    assert_eq!(entry["stage"], "failed", "{entry}");
    assert!(
        entry["why"]
            .as_str()
            .is_some_and(|why| why.contains("No space left")),
        "{entry}"
    );
    let there = contents(&disk.folder);
    assert_eq!(
        there.get("ferry.txt").map(Vec::as_slice),
        Some(typed("Ferry Lights").as_bytes())
    );
    assert_eq!(
        there.len(),
        2,
        "the chart and what fills the disk: {:?}",
        there.keys()
    );
    disk.empty();
    let again = desk.post("/api/draft", &json!({"file": "ferry.txt"}));
    assert_eq!(again.status, 200, "{}", again.text());
    queue(desk, |all| all.len() == 1 && all[0]["stage"] == "done");
    assert_eq!(
        store::load(&disk.folder.join("ferry.takebook"))
            .map(|log| resolve(&log).title)
            .ok()
            .as_deref(),
        Some("Ferry Lights")
    );
}

#[test]
fn a_full_disk_saves_no_decision_and_keeps_the_song() {
    let (_keep, outer) = outside::folder();
    let disk = SmallDisk::open(&outer, 4000, None);
    log_sample::file(&disk.folder);
    let path = disk.folder.join("evening.takebook");
    let at = "/song/evening.takebook/api/decide";
    let decide = |title: &str| {
        let body = json!({"requests": [{"title": title}]});
        disk.desk.post(at, &body)
    };
    let answer = decide("First");
    assert_eq!(answer.status, 200, "{}", answer.text());
    let before = std::fs::read(&path).expect("a song");
    disk.fill(0);
    let answer = decide("Second");
    assert!(answer.status >= 400, "{}", answer.text());
    assert!(
        answer.error().contains("No space left"),
        "{}",
        answer.error()
    );
    assert!(
        std::fs::read(&path).expect("a song") == before,
        "to the byte"
    );
    // what is read still answers
    assert_eq!(
        disk.desk.json("/song/evening.takebook/api/song")["title"],
        "First"
    );
    disk.empty();
    let answer = decide("Third");
    assert_eq!(answer.status, 200, "{}", answer.text());
    assert_eq!(resolve(&store::load(&path).expect("a song")).title, "Third");
}

#[test]
fn a_fifth_file_at_once_waits_and_what_was_half_sent_is_gone() {
    let (_keep, folder) = outside::folder();
    let desk = Desk::open(&folder);
    let begun: Vec<TcpStream> = (0..4)
        .map(|n| {
            let mut stream = TcpStream::connect(("127.0.0.1", desk.port)).expect("it listens");
            let name = format!("{n}.wav");
            let head = head(&desk, &name, Some(1_000_000));
            stream
                .write_all(&[head.as_bytes(), &[1; 1000]].concat())
                .expect("sent");
            stream
        })
        .collect();
    queue(&desk, |all| {
        all.iter().filter(|e| e["stage"] == "copying").count() == 4
    });
    let answer = add(&desk, "fifth.txt", typed("Fifth").as_bytes());
    assert_eq!(answer.status, 409, "{}", answer.text());
    let words = "4 files are being copied already; add 'fifth.txt' after them";
    assert_eq!(answer.error(), words);
    // one is cancelled on another page: its own page is told that, and no refusal
    let entries = queue(&desk, |all| all.len() == 4);
    let gone = desk.post("/api/adding/remove", &json!({"id": entries[0]["id"]}));
    assert_eq!(gone.json()["was_there"], true);
    let own: usize = entries[0]["file"]
        .as_str()
        .and_then(|f| f[..1].parse().ok())
        .expect("a number");
    let mut first = &begun[own];
    first.write_all(&vec![1; 999_000]).expect("sent");
    let mut text = String::new();
    first.read_to_string(&mut text).expect("an answer");
    assert!(
        text.starts_with("HTTP/1.1 409") && text.contains("\"cancelled\":true"),
        "{text}"
    );
    // the pages of the others go away
    drop(begun);
    queue(&desk, |all| all.is_empty());
    assert_eq!(half_written(&folder), 0);
    assert_eq!(contents(&folder), BTreeMap::new());
    assert_eq!(
        add(&desk, "fifth.txt", typed("Fifth").as_bytes()).status,
        200
    );
}

#[test]
fn more_than_two_hundred_that_wait_are_refused_until_some_are_done() {
    let (_keep, folder) = outside::folder();
    take_and_log(&folder);
    let sound = std::fs::read(folder.join("evening.wav")).expect("a take");
    for n in 0..230 {
        std::fs::write(folder.join(format!("t{n:03}.wav")), &sound[..400_044]).expect("written");
    }
    let desk = Desk::open(&folder);
    let began = Instant::now();
    while desk.json("/api/songs")["without_song"]
        .as_array()
        .map(Vec::len)
        != Some(230)
    {
        assert!(
            began.elapsed() < Duration::from_secs(30),
            "the recordings are not listed"
        );
        std::thread::sleep(Duration::from_millis(50));
    }
    let draft = |n: usize| desk.post("/api/draft", &json!({"file": format!("t{n:03}.wav")}));
    let refused = (0..230).map(draft).find(|answer| answer.status != 200);
    let refused = refused.expect("there is an end");
    assert_eq!(refused.status, 409);
    assert_eq!(
        refused.error(),
        "200 files are waiting already; add more when some are done"
    );
    let typed = add(&desk, "chart.txt", typed("Chart").as_bytes());
    assert_eq!((typed.status, typed.error()), (409, refused.error()));
    for entry in queue(&desk, |_| true) {
        desk.post("/api/adding/remove", &json!({"id": entry["id"]}));
    }
    assert_eq!(draft(229).status, 200);
    queue(&desk, |all| {
        all.iter()
            .any(|e| e["file"] == "t229.wav" && e["stage"] == "done")
    });
    assert!(folder.join("t229.takebook").exists());
    assert_eq!(
        contents(&folder)
            .keys()
            .filter(|n| n.ends_with(".wav"))
            .count(),
        231,
        "files stay"
    );
}

#[test]
fn two_pages_and_a_command_line_at_once_lose_nothing() {
    const N: usize = 12;
    let (_keep, folder) = outside::folder();
    take_and_log(&folder);
    let log = folder.join("evening.takebook");
    // two programs on one folder, as two windows that were opened separately
    let (one, two) = (Desk::open(&folder), Desk::open(&folder));
    let note = |who: &str, n: usize| format!("{who} {n}");
    let by_page = |desk: &Desk, who: &str| {
        for n in 0..N {
            let body = json!({"requests": [{"places": [{"start_s": 0.0, "end_s": 2.0}], "note": note(who, n)}]});
            let answer = desk.post("/song/evening.takebook/api/decide", &body);
            assert_eq!(answer.status, 200, "{}", answer.text());
            // the same name each time, another song
            let answer = add(desk, "same.txt", typed(&note(who, n)).as_bytes());
            assert_eq!(answer.status, 200, "{}", answer.text());
        }
    };
    let text = log.to_str().expect("a path");
    std::thread::scope(|scope| {
        scope.spawn(|| by_page(&one, "one"));
        scope.spawn(|| by_page(&two, "two"));
        for n in 0..N {
            let ran = log_sample::run(&["confirm", text, "0s", "--note", &note("typed", n)]);
            assert!(ran.status.success(), "{ran:?}");
            let chart = folder.join(format!("typed {n}.txt"));
            std::fs::write(&chart, typed(&note("typed", n))).expect("written");
            let ran = log_sample::run(&["draft", chart.to_str().expect("a path")]);
            assert_eq!(ran.status.code(), Some(0), "{ran:?}");
        }
    });
    for desk in [&one, &two] {
        let all = queue(desk, |all| all.iter().all(is_over));
        assert!(all.iter().all(|e| e["stage"] == "done"), "{all:?}");
    }
    let song = store::load(&log).expect("a song");
    assert_eq!(song.decided.len(), 3 * N, "every decision");
    let told = serde_json::to_string(&one.json("/song/evening.takebook/api/decisions?n=100"))
        .expect("text");
    for (who, n) in ["one", "two", "typed"]
        .iter()
        .flat_map(|who| (0..N).map(move |n| (who, n)))
    {
        assert!(told.contains(&note(who, n)), "{who} {n}: {told}");
        let titles = contents(&folder)
            .into_iter()
            .filter(|(name, _)| name.ends_with(".takebook"));
        let n_of = titles
            .filter(|(_, bytes)| {
                String::from_utf8_lossy(bytes).contains(&format!("\"{}\"", note(who, n)))
            })
            .count();
        assert!(n_of >= 1, "the song {who} {n} is in no file");
    }
    let n_songs = contents(&folder)
        .keys()
        .filter(|n| n.ends_with(".takebook"))
        .count();
    assert_eq!(n_songs, 1 + 3 * N);
    // as a page that is open
    let _page = one.events();
    let began = Instant::now();
    while one.json("/api/songs")["files"].as_array().map(Vec::len) != Some(n_songs) {
        assert!(
            began.elapsed() < Duration::from_secs(20),
            "the list never shows all"
        );
        std::thread::sleep(Duration::from_millis(50));
    }
}

#[test]
fn a_desk_killed_while_it_exports_changes_no_file() {
    let (_keep, folder) = outside::folder();
    take_and_log(&folder);
    let song = std::fs::read(folder.join("evening.takebook")).expect("a song");
    let names: Vec<String> = (0..150).map(|n| format!("s{n:03}.takebook")).collect();
    for name in &names {
        std::fs::write(folder.join(name), &song).expect("written");
    }
    let mut desk = Desk::open(&folder);
    let before = contents(&folder);
    let list = serde_json::to_string(&names)
        .expect("JSON")
        .replace('"', "%22")
        .replace(',', "%2C");
    let path = format!("/api/set?songs={list}&title=All");
    let mut stream = TcpStream::connect(("127.0.0.1", desk.port)).expect("it listens");
    let request = format!(
        "GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nCookie: {}\r\nConnection: close\r\n\r\n",
        desk.port, desk.cookie
    );
    stream.write_all(request.as_bytes()).expect("sent");
    std::thread::sleep(Duration::from_millis(30));
    desk.kill();
    let mut came = Vec::new();
    let _ = stream.read_to_end(&mut came);
    assert!(
        !came.ends_with(b"%%EOF\n") && !came.ends_with(b"%%EOF"),
        "it was killed too late to show anything"
    );
    assert!(contents(&folder) == before, "no file was changed");
    let desk = Desk::open(&folder);
    let pdf = desk.get(&path);
    assert_eq!(pdf.status, 200, "{}", pdf.text());
    assert!(pdf.body.starts_with(b"%PDF-"));
    assert!(contents(&folder) == before);
}
