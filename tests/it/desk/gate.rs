//! Who may come in. Each attack must be refused and leave the log as it was.

use super::Desk;
use super::client::{read_answer, send, take_and_log};
use crate::outside;
use std::io::Write;
use std::net::TcpStream;
use std::time::{Duration, Instant};

#[test]
fn the_link_opens_once_and_the_next_one_is_told() {
    let (_keep, folder) = outside::folder();
    let desk = Desk::open(&take_and_log(&folder));
    let open = |path: &str| {
        desk.send(&format!(
            "GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nConnection: close\r\n\r\n",
            desk.port
        ))
    };
    // it was used by Desk::open
    let used = open(&desk.path_of_link());
    assert_eq!(used.status, 403);
    assert!(used.text().contains("used already"), "{}", used.text());
    for path in [
        "/",
        "/?key=",
        "/?key=0123456789",
        "/api/song",
        "/desk/desk.js",
    ] {
        assert_eq!(open(path).status, 403, "{path}");
    }
    let line = desk.stderr_line();
    let next = line
        .strip_prefix("desk: to open it once more: ")
        .expect("a link");
    let path = &next[next.find("/?").expect("a key")..];
    let head = desk.send(&format!(
        "HEAD {path} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nConnection: close\r\n\r\n",
        desk.port
    ));
    assert_eq!(head.status, 403, "a look does not spend the key");
    // the key opens the page only, nothing else
    let elsewhere = path.replacen("/?", "/api/song?", 1);
    assert_eq!(open(&elsewhere).status, 403);
    let welcome = open(path);
    assert_eq!(welcome.status, 303);
    assert_eq!(welcome.header("location"), Some("/"));
    let cookie = welcome.header("set-cookie").expect("a cookie");
    for part in ["HttpOnly", "SameSite=Strict", "Path=/"] {
        assert!(cookie.contains(part), "{cookie}");
    }
    assert_eq!(open(path).status, 403);
    // a page that is in already is sent on, with whatever key
    assert_eq!(desk.get("/?key=old").status, 303);
    assert_eq!(desk.get("/").status, 200);
}

#[test]
fn nobody_else_comes_in() {
    let (_keep, folder) = outside::folder();
    let log = take_and_log(&folder);
    let desk = Desk::open(&log);
    let before = std::fs::read(&log).expect("a log");
    let own = format!("127.0.0.1:{}", desk.port);
    let name = format!("localhost:{}", desk.port);
    let (own_origin, name_origin) = (format!("http://{own}"), format!("http://{name}"));
    let other_port = format!("http://127.0.0.1:{}", desk.port ^ 1);
    let cookie = desk.cookie.clone();
    let last = if cookie.ends_with('0') { '1' } else { '0' };
    let wrong = format!("{}{last}", &cookie[..cookie.len() - 1]);
    let other_name = cookie.replacen("desk-", "desk-1", 1);
    let get = "GET /api/song HTTP/1.1\r\n";
    let post = "POST /api/undo HTTP/1.1\r\nContent-Type: application/json\r\nContent-Length: 2\r\n";
    let check = |status: u16, start: &str, headers: &[(&str, &str)]| {
        let headers: String = headers
            .iter()
            .map(|(n, v)| format!("{n}: {v}\r\n"))
            .collect();
        let body = if start.starts_with("POST") { "{}" } else { "" };
        let request = format!("{start}{headers}Connection: close\r\n\r\n{body}");
        let answer = desk.send(&request);
        assert_eq!(answer.status, status, "{request}\n{}", answer.text());
    };
    let session = ("Cookie", cookie.as_str());
    check(200, get, &[("Host", &own), session]);
    check(200, get, &[("Host", &name), session]);
    check(
        200,
        get,
        &[("Host", &own), session, ("Origin", &own_origin)],
    );
    check(
        200,
        get,
        &[("Host", &own), session, ("Sec-Fetch-Site", "same-origin")],
    );
    // another name that leads here (DNS rebinding), another port, no port, none, two
    check(403, get, &[("Host", "evil.example"), session]);
    check(
        403,
        get,
        &[("Host", &format!("evil.example:{}", desk.port)), session],
    );
    check(403, get, &[("Host", "127.0.0.1"), session]);
    check(
        403,
        get,
        &[("Host", &format!("127.0.0.1:{}", desk.port ^ 1)), session],
    );
    check(
        403,
        get,
        &[("Host", &format!("{own}.evil.example")), session],
    );
    check(400, get, &[session]);
    check(
        400,
        get,
        &[("Host", &own), ("Host", "evil.example"), session],
    );
    let absolute = format!(
        "GET http://evil.example:{}/api/song HTTP/1.1\r\n",
        desk.port
    );
    check(403, &absolute, &[("Host", &own), session]);
    // another origin
    for origin in [
        "http://evil.example",
        "null",
        &other_port,
        &name_origin,
        "https://127.0.0.1",
        "",
    ] {
        check(403, get, &[("Host", &own), session, ("Origin", origin)]);
        check(403, post, &[("Host", &own), session, ("Origin", origin)]);
    }
    check(403, post, &[("Host", &own), session]);
    check(
        403,
        post,
        &[
            ("Host", &own),
            session,
            ("Origin", &own_origin),
            ("Origin", "http://evil.example"),
        ],
    );
    for site in ["cross-site", "same-site"] {
        check(
            403,
            get,
            &[("Host", &own), session, ("Sec-Fetch-Site", site)],
        );
        check(
            403,
            post,
            &[
                ("Host", &own),
                session,
                ("Origin", &own_origin),
                ("Sec-Fetch-Site", site),
            ],
        );
    }
    // no session, a wrong one, one of another desk
    check(403, get, &[("Host", &own)]);
    check(403, get, &[("Host", &own), ("Cookie", &wrong)]);
    check(403, get, &[("Host", &own), ("Cookie", &other_name)]);
    check(403, get, &[("Host", &own), ("Cookie", &cookie[..20])]);
    check(403, post, &[("Host", &own), ("Origin", &own_origin)]);
    check(
        403,
        post,
        &[("Host", &own), ("Origin", &own_origin), ("Cookie", &wrong)],
    );
    assert_eq!(std::fs::read(&log).expect("a log"), before);
}

#[test]
fn it_listens_on_this_machine_only() {
    let (_keep, folder) = outside::folder();
    let desk = Desk::open(&take_and_log(&folder));
    // Linux: every address of 127.0.0.0/8 is this machine, but only one was bound
    assert!(TcpStream::connect(("127.0.0.2", desk.port)).is_err());
    assert!(TcpStream::connect(("127.0.0.1", desk.port)).is_ok());
}

#[test]
fn no_path_leads_out_of_the_page() {
    let (_keep, folder) = outside::folder();
    let desk = Desk::open(&take_and_log(&folder));
    for path in [
        "/desk/../Cargo.toml",
        "/desk/../../../../etc/passwd",
        "/desk/..%2f..%2fetc%2fpasswd",
        "/desk/%2e%2e/%2e%2e/etc/passwd",
        "/desk/%2fetc%2fpasswd",
        "/desk//etc/passwd",
        "/desk/..\\..\\evening.takebook",
        "/desk/",
        "/desk",
        "/desk/desk.js%00.css",
        "/desk/index.html/",
        "/../etc/passwd",
        "/evening.takebook",
        "/evening.wav",
        "/.takebook/",
        "/api/take/../../etc/passwd",
        "/api/",
        "/api/bar/../song",
    ] {
        let answer = desk.get(path);
        assert!(
            answer.status == 404 || answer.status == 400,
            "{path}: {} {}",
            answer.status,
            answer.text()
        );
        assert!(!answer.text().contains("root:"), "{path}");
    }
    // what a request names is never a file
    for path in [
        "/api/take?file=/etc/passwd",
        "/api/take?path=../evening.takebook",
    ] {
        let answer = desk.get(path);
        assert_eq!(&answer.body[..4], b"RIFF", "{path}");
    }
}

#[test]
fn a_gigabyte_is_refused_without_being_read() {
    let (_keep, folder) = outside::folder();
    let log = take_and_log(&folder);
    let desk = Desk::open(&log);
    let before = std::fs::read(&log).expect("a log");
    let head = |length: &str| {
        format!(
            "POST /api/decide HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nCookie: {}\r\nOrigin: {}\r\nContent-Type: application/json\r\n{length}\r\n\r\n",
            desk.port,
            desk.cookie,
            desk.origin()
        )
    };
    // told beforehand: the answer comes before a byte of it was sent
    let start = Instant::now();
    let mut stream = TcpStream::connect(("127.0.0.1", desk.port)).expect("it listens");
    stream
        .set_read_timeout(Some(Duration::from_secs(10)))
        .expect("a timeout");
    stream
        .write_all(head("Content-Length: 1073741824").as_bytes())
        .expect("sent");
    let answer = read_answer(&mut stream).expect("an answer, then the connection closes");
    assert_eq!(answer.status, 413);
    assert!(answer.error().contains("65536 bytes"), "{}", answer.text());
    assert!(start.elapsed() < Duration::from_secs(5));
    // not told: it stops reading soon after the limit
    let mut stream = TcpStream::connect(("127.0.0.1", desk.port)).expect("it listens");
    stream
        .set_read_timeout(Some(Duration::from_secs(10)))
        .expect("a timeout");
    stream
        .write_all(head("Transfer-Encoding: chunked").as_bytes())
        .expect("sent");
    let chunk = format!("10000\r\n{}\r\n", " ".repeat(0x10000));
    let mut sent = 0usize;
    while sent < 1 << 30 && stream.write_all(chunk.as_bytes()).is_ok() {
        sent += chunk.len();
    }
    assert!(sent < 64 << 20, "{sent} bytes were taken");
    // others are served as before
    assert_eq!(desk.get("/api/song").status, 200);
    assert_eq!(std::fs::read(&log).expect("a log"), before);
}

#[test]
fn what_makes_no_sense_is_refused_in_words() {
    let (_keep, folder) = outside::folder();
    let log = take_and_log(&folder);
    let desk = Desk::open(&log);
    let before = std::fs::read(&log).expect("a log");
    let json = "application/json";
    let deep = format!("{{\"note\": {}", "[".repeat(60_000));
    for (status, kind, body, part) in [
        (400, json, "{", "EOF"),
        (400, json, "not json", "expected"),
        (400, json, "[]", "object was expected"),
        (400, json, "{} {}", "trailing"),
        (400, json, "{\"tempo_bpm\": 1e999}", "out of range"),
        (400, json, "{\"tempo_bpm\": \"1\"}", "tempo bpm: "),
        (
            400,
            json,
            "{\"places\": [{\"start_s\": 1}]}",
            "start_s and end_s",
        ),
        (400, json, "{\"unknown\": 1}", "unknown"),
        (400, json, "{\"chord\": 5}", "chord"),
        (400, json, "{}", "nothing to decide"),
        (400, json, &deep, "note"),
        (400, json, "{\"places\":[\"1\"]}", "what to decide there"),
        (400, json, "{\"accept\":true}", "say where"),
        (
            400,
            json,
            "{\"places\":[{\"start_s\":2,\"end_s\":0}],\"accept\":true}",
            "empty",
        ),
        (
            400,
            json,
            "{\"places\":[{\"start_s\":-1,\"end_s\":2}],\"accept\":true}",
            "no -1 s",
        ),
        (
            400,
            json,
            "{\"places\":[{\"start_s\":99,\"end_s\":100}],\"accept\":true}",
            "lasts 24.0 s",
        ),
        (
            400,
            json,
            "{\"places\":[\"1\"],\"accept\":\"all\"}",
            "boolean",
        ),
        (
            400,
            json,
            "{\"places\":[{\"start_s\":0,\"end_s\":2}],\"candidate\":0}",
            "no candidate 0",
        ),
        (
            400,
            json,
            "{\"places\":[{\"start_s\":0,\"end_s\":2}],\"candidate\":9}",
            "no candidate 9",
        ),
        (
            400,
            json,
            "{\"places\":[{\"start_s\":0,\"end_s\":2}],\"chord\":\"H7\"}",
            "chord: ",
        ),
        (
            400,
            json,
            "{\"places\":[{\"start_s\":0,\"end_s\":2}],\"shape\":\"x0\"}",
            "x0",
        ),
        (
            400,
            json,
            "{\"places\":[{\"start_s\":0,\"end_s\":2}],\"alt_shape\":\"x02210\"}",
            "needs shape beside",
        ),
        (
            400,
            json,
            "{\"places\":[{\"start_s\":6,\"end_s\":8}],\"chord\":\"G7\"}",
            "several chords",
        ),
        (400, json, "{\"move_to\":2}", "say where"),
        (400, json, "{\"tempo_bpm\":0}", "10 to 600"),
        (400, json, "{\"capo\":99}", "0 to 12"),
        (400, json, "{\"capo\":999}", "capo"),
        (400, json, "{\"meter\":\"0/4\"}", "meter"),
        (400, json, "{\"key\":\"Q\"}", "key: "),
        (400, json, "{\"tuning\":\"nonsense\"}", "tuning: "),
        (400, json, "{\"title\":\"two\\nlines\"}", "one line"),
        (
            409,
            json,
            "{\"places\":[{\"at_s\":2}],\"move_to\":23}",
            "would vanish",
        ),
        (
            409,
            json,
            "{\"requests\":[{\"title\":\"x\"}],\"revision\":\"0\"}",
            "changed meanwhile",
        ),
        (415, "text/plain", "{\"title\":\"x\"}", "application/json"),
        (
            415,
            "application/x-www-form-urlencoded",
            "title=x",
            "application/json",
        ),
        (
            415,
            "application/jsonp",
            "{\"title\":\"x\"}",
            "application/json",
        ),
    ] {
        let request = format!("{{\"requests\":[{body}]}}");
        let body = if body.starts_with("{\"") && !body.contains("requests") {
            &request
        } else {
            body
        };
        let answer = desk.post_text("/api/decide", kind, body);
        let short: String = body.chars().take(80).collect();
        assert_eq!(answer.status, status, "{short}: {}", answer.text());
        let error = answer.error();
        assert!(error.contains(part), "{short}: {error}");
    }
    for (path, status) in [
        ("/api/bar/999", 404),
        ("/api/bar/-1", 400),
        ("/api/bar/one", 400),
        ("/api/evidence?from=5&to=1", 400),
        ("/api/evidence?from=NaN&to=1", 400),
        ("/api/evidence?columns=1000000000", 400),
        ("/api/evidence?nonsense=1", 400),
        ("/api/plucked?label=A&seconds=1e9", 400),
        ("/api/plucked?label=N", 400),
        ("/api/plucked?label=A&shape=x0", 400),
        ("/api/plucked", 400),
        ("/api/complete", 400),
        ("/api/chart?format=doc", 400),
        ("/api/chart?format=txt&key=Q", 400),
        ("/api/chart?format=txt&paper=A0", 400),
        ("/api/chart", 400),
    ] {
        let answer = desk.get(path);
        assert_eq!(answer.status, status, "{path}: {}", answer.text());
        assert!(!answer.error().is_empty());
    }
    let long = format!("/api/complete?text={}", "A".repeat(30_000));
    assert_eq!(desk.get(&long).status, 400);
    assert_eq!(desk.request("GET", "/api/decide", &[]).status, 405);
    assert_eq!(
        desk.request("DELETE", "/api/song", &[("Origin", &desk.origin())])
            .status,
        405
    );
    // not HTTP at all
    let answer = send(
        desk.port,
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n",
    );
    assert!(answer.is_err() || answer.is_ok_and(|a| a.status == 400));
    assert_eq!(desk.get("/api/song").status, 200);
    assert_eq!(std::fs::read(&log).expect("a log"), before);
}
