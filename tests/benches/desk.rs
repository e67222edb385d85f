//! How soon the desk is usable, and what it costs: the page's loop on takes of half a minute, two
//! and ten minutes, and the server on the last.
//!
//! `cargo bench --bench desk`; with `-- songs` only a folder of 500 songs, as a page shows it. The take is the demo take over and over; it is
//! drafted once by the program. Times are the best of several openings.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// Lengths of the takes, s: the page's loop is measured on each, the server on the last.
const LENGTHS_S: [u64; 3] = [30, 120, 600];
const OPENINGS: usize = 5;

fn main() {
    if std::env::args().any(|arg| arg == "songs") {
        songs();
        return;
    }
    let folder = tempfile::tempdir().expect("a folder");
    for length_s in LENGTHS_S {
        let wav = folder.path().join(format!("{length_s}.wav"));
        let log = wav.with_extension("takebook");
        lengthen(&wav, length_s);
        let start = Instant::now();
        let drafted = takebook().arg("draft").arg(&wav).output().expect("it runs");
        assert!(log.exists(), "{drafted:?}");
        let bytes = std::fs::metadata(&log).expect("a log").len();
        say(&format!("take of {length_s} s, log {} kB", bytes / 1000));
        report("draft of the take (once)", start.elapsed());
        page_loop(&log);
        if Some(&length_s) == LENGTHS_S.last() {
            server(&wav, &log);
        }
    }
}

const N_SONGS: usize = 500;

/// A folder of songs: how soon it is listed, how soon a page shows it, what it holds.
fn songs() {
    use takebook::songlog::{decided::Act, store, write};
    let folder = tempfile::tempdir().expect("a folder");
    let empty = folder.path().join("empty");
    let full = folder.path().join("full");
    std::fs::create_dir(&empty).expect("a folder");
    std::fs::create_dir(&full).expect("a folder");
    let wav = folder.path().join("take.wav");
    lengthen(&wav, 120);
    let drafted = takebook().arg("draft").arg(&wav).output().expect("it runs");
    let log = wav.with_extension("takebook");
    assert!(log.exists(), "{drafted:?}");
    let song = store::load(&log).expect("a log");
    for n in 0..N_SONGS {
        let mut own = song.clone();
        let text = format!(
            "{} song {n}",
            ["Amber", "Late", "Quiet", "Tin", "Winter"][n % 5]
        );
        own.decide(
            format!("2031-{:02}-02T18:30:00Z", n % 12 + 1),
            vec![Act::Title { text }],
        );
        std::fs::write(full.join(format!("{n}.takebook")), write(&own)).expect("written");
    }
    let bytes = std::fs::metadata(full.join("0.takebook"))
        .expect("a log")
        .len();
    say(&format!(
        "{N_SONGS} songs of 120 s, each log {} kB",
        bytes / 1000
    ));
    let desk = Open::new(&empty);
    desk.get("/api/songs", "");
    let beside = desk.highest_kb();
    let mut best = [Duration::MAX; 2];
    let mut memory_kb = 0;
    for _ in 0..OPENINGS {
        let start = Instant::now();
        let desk = Open::new(&full);
        desk.get("/", "");
        best[0] = best[0].min(start.elapsed());
        while !desk
            .get("/api/songs?since=999999", "")
            .contains("\"n_unread\":0")
        {
            std::thread::sleep(Duration::from_millis(20));
        }
        best[1] = best[1].min(start.elapsed());
        memory_kb = memory_kb.max(desk.highest_kb());
    }
    report("page there after", best[0]);
    report("all songs read after", best[1]);
    say(&format!(
        "memory at most {} MB; of an empty folder {} MB",
        memory_kb / 1000,
        beside / 1000
    ));
    say("| songs | first paint | all listed | again | search at most | another order | (ms)");
    browser("measuresSongs", &full);
}

/// What a scenario of `tests/outside/desk.mjs` prints.
fn browser(scenario: &str, path: &Path) {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let told = Command::new("node")
        .arg(root.join("tests/outside/desk.mjs"))
        .args([scenario, env!("CARGO_BIN_EXE_takebook")])
        .arg(path)
        .output();
    match told {
        Ok(told) if told.status.success() => say(String::from_utf8_lossy(&told.stdout).trim_end()),
        Ok(told) => say(&String::from_utf8_lossy(&told.stderr)),
        Err(_) => say("the page is not measured: node is not there (tests/setup installs it)"),
    }
}

/// The page in a browser, as `tests/outside/desk.mjs measuresLoop` prints it.
fn page_loop(log: &Path) {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    // a copy: the page decides
    let copy = log.with_file_name(format!(
        "loop-{}",
        log.file_name().unwrap_or_default().to_string_lossy()
    ));
    std::fs::copy(log, &copy).expect("a copy");
    let told = Command::new("node")
        .arg(root.join("tests/outside/desk.mjs"))
        .args(["measuresLoop", env!("CARGO_BIN_EXE_takebook")])
        .arg(&copy)
        .output();
    match told {
        Ok(told) if told.status.success() => {
            say(
                "| link | first paint | usable | decision saved | at most | work for it | next line | pictures/s |",
            );
            say(String::from_utf8_lossy(&told.stdout).trim_end());
        }
        Ok(told) => say(&String::from_utf8_lossy(&told.stderr)),
        Err(_) => say("the page is not measured: node is not there (tests/setup installs it)"),
    }
}

fn server(wav: &Path, log: &Path) {
    let mut best: Vec<(&str, Duration)> = Vec::new();
    let mut memory_kb = 0;
    for _ in 0..OPENINGS {
        for (i, (name, time)) in opening(log, &mut memory_kb).into_iter().enumerate() {
            match best.get_mut(i) {
                Some(known) => known.1 = known.1.min(time),
                None => best.push((name, time)),
            }
        }
    }
    for (name, time) in best {
        report(name, time);
    }
    say(&format!("memory at most {} MB", memory_kb / 1000));
    decide_on_many(log);
    let mp3 = wav.with_extension("mp3");
    let coded = Command::new("ffmpeg")
        .args(["-loglevel", "error", "-i"])
        .args([wav, &mp3])
        .status();
    if coded.is_ok_and(|s| s.success()) {
        let text = std::fs::read_to_string(log).expect("a log");
        let name = |path: &Path| {
            path.file_name()
                .unwrap_or_default()
                .to_string_lossy()
                .into_owned()
        };
        std::fs::write(log, text.replace(&name(wav), &name(&mp3))).expect("written");
        let desk = Open::new(log);
        let start = Instant::now();
        desk.get("/api/take", "Range: bytes=0-99999\r\n");
        report("MP3: first sound after", start.elapsed());
    } else {
        say("MP3 not measured: ffmpeg is not there (tests/setup installs it)");
    }
}

/// A further decision on a log that has very many.
fn decide_on_many(log: &Path) {
    const N_DECISIONS: usize = 100_000;
    let text = std::fs::read_to_string(log).expect("a log");
    let mut whole: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    let chords = whole["heard"]["chords"].as_array().expect("chords").clone();
    let decided = (1..=N_DECISIONS).map(|id| {
        let chord = &chords[id * 7 % chords.len()];
        let act = match id % 10 {
            9 => serde_json::json!({"act": "undo", "of": [id - 1]}),
            _ => serde_json::json!({"act": "chord", "start_s": chord["start_s"],
                "end_s": chord["end_s"], "label": chord["candidates"][0]["label"],
                "how": "proposed"}),
        };
        serde_json::json!({"id": id, "at": "2031-05-02T18:30:00Z", "acts": [act]})
    });
    whole["decided"] = decided.collect();
    let many = log.with_file_name("many.takebook");
    std::fs::write(&many, whole.to_string()).expect("written");
    let one = || {
        let start = Instant::now();
        let decided = takebook()
            .arg("confirm")
            .arg(&many)
            .args(["2", "--chord", "G"])
            .output();
        assert!(decided.expect("it runs").status.success());
        start.elapsed()
    };
    let best = (0..OPENINGS).map(|_| one()).min().unwrap_or_default();
    report("one more decision after 100,000", best);
}

/// One opening: what is waited for, from the start of the program on.
fn opening(log: &Path, memory_kb: &mut u64) -> Vec<(&'static str, Duration)> {
    let start = Instant::now();
    let desk = Open::new(log);
    let mut times = vec![("link printed and opened after", start.elapsed())];
    desk.get("/", "");
    desk.get("/desk/desk.js", "");
    desk.get("/api/song", "");
    times.push(("page and song there after", start.elapsed()));
    desk.get("/api/bar/1", "");
    desk.get("/api/evidence?from=0&to=8&columns=1200", "");
    times.push(("first bar with its evidence after", start.elapsed()));
    desk.get("/api/take", "Range: bytes=0-99999\r\n");
    times.push(("first sound after", start.elapsed()));
    let whole = "/api/evidence?columns=1200";
    while !desk.get(whole, "").contains("\"wave_done\":true") {
        std::thread::sleep(Duration::from_millis(5));
    }
    times.push(("wave of the whole take after", start.elapsed()));
    let mut one = |name, path: &str, head: &str| {
        let start = Instant::now();
        desk.get(path, head);
        times.push((name, start.elapsed()));
    };
    one("then: the song", "/api/song", "");
    one("then: a bar", "/api/bar/200", "");
    one(
        "then: a line's evidence",
        "/api/evidence?from=300&to=308&columns=1200",
        "",
    );
    one(
        "then: a seek",
        "/api/take",
        "Range: bytes=40000000-40099999\r\n",
    );
    one(
        "then: naming a chord",
        "/api/complete?text=C%23m7b5&at_s=300",
        "",
    );
    one(
        "then: a plucked chord of 2 s",
        "/api/plucked?label=A:min7",
        "",
    );
    let start = Instant::now();
    desk.post("/api/decide", "{\"requests\":[{\"note\":\"measured\"}]}");
    times.push(("then: a decision, saved", start.elapsed()));
    *memory_kb = (*memory_kb).max(desk.highest_kb());
    times
}

/// The demo take, repeated.
fn lengthen(path: &Path, length_s: u64) {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/lantern-porch.wav");
    let mut reader = hound::WavReader::open(demo).expect("the demo take");
    let mut spec = reader.spec();
    let samples: Vec<i16> = reader
        .samples()
        .collect::<Result<_, _>>()
        .expect("16-bit samples");
    // as most recordings are: stereo at 44.1 kHz, each sample four times
    let n = length_s as usize * spec.sample_rate as usize;
    assert_eq!((spec.channels, spec.sample_rate), (1, 22_050));
    (spec.channels, spec.sample_rate) = (2, 44_100);
    let mut writer = hound::WavWriter::create(path, spec).expect("a file");
    for x in samples.iter().cycle().take(n) {
        for _ in 0..4 {
            writer.write_sample(*x).expect("written");
        }
    }
    writer.finalize().expect("written");
}

fn takebook() -> Command {
    Command::new(env!("CARGO_BIN_EXE_takebook"))
}

/// A desk that was opened.
struct Open {
    child: Child,
    host: String,
    cookie: String,
}

impl Open {
    fn new(log: &Path) -> Self {
        let mut child = takebook()
            .args(["desk", "--no-open"])
            .arg(log)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("it starts");
        let mut line = String::new();
        BufReader::new(child.stdout.take().expect("a pipe"))
            .read_line(&mut line)
            .expect("a line");
        let link = line.trim().trim_start_matches("desk: http://");
        let (host, path) = link.split_once('/').expect("a link");
        let mut desk = Self {
            child,
            host: host.into(),
            cookie: String::new(),
        };
        let answer = desk.get(&format!("/{path}"), "");
        let cookie = answer
            .lines()
            .find_map(|l| l.strip_prefix("set-cookie: "))
            .and_then(|l| l.split(';').next());
        desk.cookie = cookie.expect("a cookie").into();
        desk
    }

    fn get(&self, path: &str, more: &str) -> String {
        let Self { host, cookie, .. } = self;
        self.send(&format!(
            "GET {path} HTTP/1.1\r\nHost: {host}\r\nCookie: {cookie}\r\n{more}Connection: close\r\n\r\n"
        ))
    }

    fn post(&self, path: &str, body: &str) -> String {
        let Self { host, cookie, .. } = self;
        self.send(&format!(
            "POST {path} HTTP/1.1\r\nHost: {host}\r\nCookie: {cookie}\r\nOrigin: http://{host}\r\nContent-Type: application/json\r\nContent-Length: {}\r\nConnection: close\r\n\r\n{body}",
            body.len()
        ))
    }

    fn send(&self, request: &str) -> String {
        let mut stream = TcpStream::connect(&self.host).expect("it listens");
        stream.write_all(request.as_bytes()).expect("sent");
        let mut answer = Vec::new();
        stream.read_to_end(&mut answer).expect("an answer");
        let text = String::from_utf8_lossy(&answer).into_owned();
        let ok = ["HTTP/1.1 200", "HTTP/1.1 206", "HTTP/1.1 303"];
        assert!(ok.iter().any(|s| text.starts_with(s)), "{request}{text}");
        text
    }

    /// The most memory it ever held, kB (Linux; 0 elsewhere).
    fn highest_kb(&self) -> u64 {
        let status = std::fs::read_to_string(format!("/proc/{}/status", self.child.id()));
        let line = status.unwrap_or_default();
        line.lines()
            .find_map(|l| l.strip_prefix("VmHWM:"))
            .and_then(|l| l.trim().split(' ').next()?.parse().ok())
            .unwrap_or(0)
    }
}

impl Drop for Open {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn report(name: &str, time: Duration) {
    say(&format!("{name:36} {:8.1} ms", time.as_secs_f64() * 1e3));
}

fn say(line: &str) {
    let _ = writeln!(std::io::stdout(), "{line}");
}
