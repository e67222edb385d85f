//! A desk under test and a plain HTTP client: what is sent is written out byte by byte.

use crate::outside;
use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::Mutex;
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;
use takebook::units::{SampleRate, Seconds};
use takebook::voice::{Stroke, perform, strum};

/// Nothing here takes so long unless it hangs.
const PATIENCE: Duration = Duration::from_secs(30);

/// A desk that runs, with the session of a page that opened it.
pub(crate) struct Desk {
    child: Child,
    pub(crate) port: u16,
    pub(crate) link: String,
    pub(crate) cookie: String,
    stderr: Mutex<Receiver<String>>,
}

/// One HTTP answer.
#[derive(Debug)]
pub(crate) struct Answer {
    pub(crate) status: u16,
    pub(crate) headers: Vec<(String, String)>,
    pub(crate) body: Vec<u8>,
}

impl Answer {
    pub(crate) fn header(&self, name: &str) -> Option<&str> {
        self.headers
            .iter()
            .find(|(n, _)| n.eq_ignore_ascii_case(name))
            .map(|(_, v)| v.as_str())
    }

    pub(crate) fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }

    #[track_caller]
    pub(crate) fn json(&self) -> Value {
        serde_json::from_slice(&self.body).unwrap_or_else(|e| panic!("{e}: {}", self.text()))
    }

    /// The sentence of an error.
    #[track_caller]
    pub(crate) fn error(&self) -> String {
        self.json()["error"]
            .as_str()
            .unwrap_or_else(|| panic!("no sentence: {}", self.text()))
            .to_owned()
    }
}

impl Desk {
    /// Starts a desk on a log and opens it as a page would.
    pub(crate) fn open(log: &Path) -> Self {
        let mut command = outside::takebook();
        command.args(["desk", "--no-open"]).arg(log);
        Self::start(command).entered()
    }

    /// With the session that its link buys.
    pub(crate) fn entered(mut self) -> Self {
        let answer = self.send(&format!(
            "GET {} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nConnection: close\r\n\r\n",
            self.path_of_link(),
            self.port
        ));
        assert_eq!(answer.status, 303, "{}", answer.text());
        let cookie = answer.header("set-cookie").expect("a cookie");
        self.cookie = cookie.split(';').next().expect("a value").to_owned();
        self
    }

    /// Runs a command that is a desk; nobody has opened it yet.
    pub(crate) fn start(mut command: Command) -> Self {
        let mut child = command
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program starts");
        let mut line = String::new();
        let mut stdout = BufReader::new(child.stdout.take().expect("a pipe"));
        stdout.read_line(&mut line).expect("a line");
        let (tell, stderr) = channel();
        let errors = BufReader::new(child.stderr.take().expect("a pipe"));
        std::thread::spawn(move || {
            for line in errors.lines().map_while(Result::ok) {
                if tell.send(line).is_err() {
                    return;
                }
            }
        });
        let link = line
            .trim()
            .strip_prefix("desk: ")
            .unwrap_or_else(|| panic!("'{line}' is no link: {:?}", stderr.recv_timeout(PATIENCE)))
            .to_owned();
        let port = link
            .strip_prefix("http://127.0.0.1:")
            .and_then(|rest| rest.split('/').next())
            .and_then(|port| port.parse().ok())
            .expect("a port");
        Self {
            child,
            port,
            link,
            cookie: String::new(),
            stderr: Mutex::new(stderr),
        }
    }

    /// The link without scheme and host.
    pub(crate) fn path_of_link(&self) -> String {
        let at = self.link.find("/?").expect("a key in the link");
        self.link[at..].to_owned()
    }

    /// Its number among the system's programs.
    pub(crate) fn pid(&self) -> u32 {
        self.child.id()
    }

    /// The next line on stderr.
    pub(crate) fn stderr_line(&self) -> String {
        let stderr = self.stderr.lock().expect("one reader");
        stderr.recv_timeout(PATIENCE).expect("a line on stderr")
    }

    /// Ends it without warning, as a power cut would.
    pub(crate) fn kill(&mut self) {
        self.child.kill().expect("it can be killed");
        self.child.wait().expect("it ends");
    }

    /// Sends these bytes and reads to the end of the answer.
    pub(crate) fn send(&self, request: &str) -> Answer {
        send(self.port, request.as_bytes()).unwrap_or_else(|e| panic!("{e}: {request}"))
    }

    pub(crate) fn origin(&self) -> String {
        format!("http://127.0.0.1:{}", self.port)
    }

    /// A request as the page makes it, with more headers.
    pub(crate) fn request(&self, method: &str, path: &str, more: &[(&str, &str)]) -> Answer {
        let more: String = more.iter().map(|(n, v)| format!("{n}: {v}\r\n")).collect();
        self.send(&format!(
            "{method} {path} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nCookie: {}\r\n{more}Connection: close\r\n\r\n",
            self.port, self.cookie
        ))
    }

    pub(crate) fn get(&self, path: &str) -> Answer {
        self.request("GET", path, &[])
    }

    /// JSON that must be there.
    #[track_caller]
    pub(crate) fn json(&self, path: &str) -> Value {
        let answer = self.get(path);
        assert_eq!(answer.status, 200, "{path}: {}", answer.text());
        answer.json()
    }

    /// A change as the page asks for it.
    pub(crate) fn post(&self, path: &str, body: &Value) -> Answer {
        self.post_text(path, "application/json", &body.to_string())
    }

    pub(crate) fn post_text(&self, path: &str, kind: &str, body: &str) -> Answer {
        self.send(&self.post_request(path, kind, body))
    }

    pub(crate) fn post_request(&self, path: &str, kind: &str, body: &str) -> String {
        format!(
            "POST {path} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nCookie: {}\r\nOrigin: {}\r\nContent-Type: {kind}\r\nContent-Length: {}\r\nConnection: close\r\n\r\n{body}",
            self.port,
            self.cookie,
            self.origin(),
            body.len()
        )
    }

    /// A decision that must succeed.
    #[track_caller]
    pub(crate) fn decide(&self, body: &Value) -> Value {
        let body = json!({"requests": [body]});
        let answer = self.post("/api/decide", &body);
        assert_eq!(answer.status, 200, "{body}: {}", answer.text());
        answer.json()
    }

    /// Listens to the events; each comes as its name and data.
    pub(crate) fn events(&self) -> Events {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).expect("it listens");
        stream.set_read_timeout(Some(PATIENCE)).expect("a timeout");
        let head = format!(
            "GET /api/events HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nCookie: {}\r\nAccept: text/event-stream\r\n\r\n",
            self.port, self.cookie
        );
        stream.write_all(head.as_bytes()).expect("sent");
        let mut lines = BufReader::new(stream);
        let mut line = String::new();
        lines.read_line(&mut line).expect("a status");
        assert!(line.starts_with("HTTP/1.1 200"), "{line}");
        Events { lines }
    }
}

impl Drop for Desk {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Server-sent events as they come.
pub(crate) struct Events {
    lines: BufReader<TcpStream>,
}

impl Events {
    /// The next event: name and data.
    pub(crate) fn next(&mut self) -> (String, Value) {
        let mut name = None;
        loop {
            let mut line = String::new();
            let n = self.lines.read_line(&mut line).expect("an event");
            assert!(n > 0, "the events ended");
            if let Some(rest) = line.trim_end().strip_prefix("event: ") {
                name = Some(rest.to_owned());
            } else if let Some(data) = line.trim_end().strip_prefix("data: ") {
                let data = serde_json::from_str(data).expect("JSON");
                return (name.take().expect("a name before the data"), data);
            }
        }
    }

    /// The next event of this name.
    pub(crate) fn wait_for(&mut self, wanted: &str) -> Value {
        loop {
            let (name, data) = self.next();
            if name == wanted {
                return data;
            }
        }
    }
}

/// Sends bytes, reads until the server closes, takes the answer apart.
pub(crate) fn send(port: u16, request: &[u8]) -> std::io::Result<Answer> {
    let mut stream = TcpStream::connect(("127.0.0.1", port))?;
    stream.set_read_timeout(Some(PATIENCE))?;
    stream.write_all(request)?;
    read_answer(&mut stream)
}

pub(crate) fn read_answer(stream: &mut TcpStream) -> std::io::Result<Answer> {
    let mut all = Vec::new();
    let read = stream.read_to_end(&mut all);
    let end = all.windows(4).position(|w| w == b"\r\n\r\n");
    let Some(end) = end else {
        read?;
        return Err(std::io::Error::other("no answer"));
    };
    let head = String::from_utf8_lossy(&all[..end]).into_owned();
    let mut lines = head.split("\r\n");
    let status = lines
        .next()
        .and_then(|l| l.split(' ').nth(1))
        .and_then(|s| s.parse().ok())
        .ok_or_else(|| std::io::Error::other(format!("no status: {head}")))?;
    let headers: Vec<(String, String)> = lines
        .filter_map(|l| l.split_once(':'))
        .map(|(n, v)| (n.to_owned(), v.trim().to_owned()))
        .collect();
    let chunked = headers
        .iter()
        .any(|(n, v)| n.eq_ignore_ascii_case("transfer-encoding") && v == "chunked");
    let body = &all[end + 4..];
    Ok(Answer {
        status,
        headers,
        body: if chunked {
            unchunk(body)
        } else {
            body.to_vec()
        },
    })
}

fn unchunk(mut rest: &[u8]) -> Vec<u8> {
    let mut body = Vec::new();
    while let Some(end) = rest.windows(2).position(|w| w == b"\r\n") {
        let size =
            usize::from_str_radix(&String::from_utf8_lossy(&rest[..end]), 16).expect("a size");
        if size == 0 {
            break;
        }
        body.extend_from_slice(&rest[end + 2..end + 2 + size]);
        rest = &rest[end + 4 + size..];
    }
    body
}

/// A take of 24 s beside a log of it (see `log_sample`): one strum each bar.
pub(crate) fn take_and_log(folder: &Path) -> PathBuf {
    let log = crate::log_sample::file(folder);
    let chord = [(0, 43), (1, 47), (2, 50), (3, 55), (4, 59), (5, 67)];
    let strikes: Vec<_> = (0..12)
        .flat_map(|bar| {
            let on_s = 2.0 * f64::from(bar);
            strum(&chord, Stroke::Down, on_s, on_s + 1.8, 0.01, 0.7)
        })
        .collect();
    let samples = perform(&strikes, 0.5, Seconds(24.0), SampleRate(44_100));
    write_wav(&folder.join("evening.wav"), &samples);
    log
}

pub(crate) fn write_wav(path: &Path, samples: &[f32]) {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 44_100,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(path, spec).expect("a file");
    for x in samples {
        writer.write_sample((x * 32_767.0) as i16).expect("written");
    }
    writer.finalize().expect("written");
}

/// The decision that the page would ask for on the first open chord.
pub(crate) fn some_note(n: usize) -> Value {
    json!({"places": [{"start_s": 0.0, "end_s": 2.0}], "note": format!("note {n}")})
}
