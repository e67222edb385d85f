//! The desk's HTTP against RFC 9110 (HTTP Semantics), the OWASP HTTP Headers
//! Cheat Sheet, and a reader that is not ours (curl).

use super::Desk;
use super::client::take_and_log;
use crate::outside;

/// A range, the status that must come, and the first and last byte; below 0
/// counted from the end.
type Asked = (&'static str, u16, Option<(i64, i64)>);

/// Range of a file of `length` bytes and what must come: status, first and
/// last byte. RFC 9110, sections 14.1.1, 14.1.2, 14.2, 15.3.7 and 15.5.17.
const RANGES: &[Asked] = &[
    ("bytes=0-499", 206, Some((0, 499))),
    ("bytes=500-999", 206, Some((500, 999))),
    ("bytes=-500", 206, Some((-500, -1))),
    ("bytes=9500-", 206, Some((9500, -1))),
    ("bytes=0-0", 206, Some((0, 0))),
    ("bytes=-1", 206, Some((-1, -1))),
    // the last position beyond the end: the remainder (14.1.2)
    ("bytes=100-999999999999", 206, Some((100, -1))),
    ("bytes=0-99999999999999999999999999", 206, Some((0, -1))),
    // a suffix longer than the whole: the whole (14.1.2)
    ("bytes=-999999999999", 206, Some((0, -1))),
    // names of units are case-insensitive (14.1)
    ("Bytes=0-1", 206, Some((0, 1))),
    // beyond the end: not satisfiable (15.5.17)
    ("bytes=999999999999-", 416, None),
    ("bytes=999999999999-9999999999999", 416, None),
    ("bytes=-0", 416, None),
    // an unknown unit and an invalid specifier are ignored (14.2)
    ("items=0-5", 200, None),
    ("bytes=5-2", 200, None),
    ("bytes=", 200, None),
    ("bytes=-", 200, None),
    ("bytes=a-b", 200, None),
    ("bytes=+1-2", 200, None),
    ("bytes 0-5", 200, None),
    // several ranges may be ignored (14.2)
    ("bytes=0-1,5-6", 200, None),
];

#[test]
fn parts_of_the_sound_are_what_the_ranges_say() {
    let (_keep, folder) = outside::folder();
    let desk = Desk::open(&take_and_log(&folder));
    let file = std::fs::read(folder.join("evening.wav")).expect("a take");
    let length = file.len() as i64;
    for (range, status, part) in RANGES {
        let answer = desk.request("GET", "/api/take", &[("Range", range)]);
        assert_eq!(answer.status, *status, "{range}");
        match (status, part) {
            (206, Some((first, last))) => {
                let from_end = |n: &i64| if *n < 0 { length + n } else { *n };
                let (first, last) = (from_end(first), from_end(last));
                let told = format!("bytes {first}-{last}/{length}");
                assert_eq!(
                    answer.header("content-range"),
                    Some(told.as_str()),
                    "{range}"
                );
                assert!(
                    answer.body == file[first as usize..=last as usize],
                    "{range}"
                );
                // 15.3.7: what a 200 would have had
                for name in ["etag", "cache-control", "date"] {
                    assert!(answer.header(name).is_some(), "{range}: no {name}");
                }
            }
            (416, _) => {
                let told = format!("bytes */{length}");
                assert_eq!(
                    answer.header("content-range"),
                    Some(told.as_str()),
                    "{range}"
                );
                assert!(!answer.error().is_empty());
            }
            _ => {
                assert!(answer.header("content-range").is_none(), "{range}");
                assert!(answer.body == file, "{range}");
            }
        }
        let told: usize = answer
            .header("content-length")
            .and_then(|n| n.parse().ok())
            .expect("a length");
        assert_eq!(told, answer.body.len(), "{range}");
    }
    assert_eq!(desk.get("/api/take").header("accept-ranges"), Some("bytes"));
}

#[test]
fn conditions_are_judged_in_the_order_of_the_standard() {
    let (_keep, folder) = outside::folder();
    let desk = Desk::open(&take_and_log(&folder));
    let tag = desk
        .get("/api/take")
        .header("etag")
        .expect("a tag")
        .to_owned();
    // 8.8.3: quoted, and strong, or If-Range could never match
    assert!(tag.starts_with('"') && tag.ends_with('"'), "{tag}");
    let weak = format!("W/{tag}");
    let list = format!("\"other\", {tag}");
    let date = "Sun, 06 Nov 1994 08:49:37 GMT";
    let range = ("Range", "bytes=0-9");
    for (status, headers) in [
        // 13.1.2 with weak comparison
        (304, vec![("If-None-Match", tag.as_str())]),
        (304, vec![("If-None-Match", &weak)]),
        (304, vec![("If-None-Match", &list)]),
        (304, vec![("If-None-Match", "*")]),
        (200, vec![("If-None-Match", "\"other\"")]),
        // 13.2.2: before a range
        (304, vec![("If-None-Match", &tag), range]),
        // 13.1.1 with strong comparison
        (200, vec![("If-Match", &tag)]),
        (200, vec![("If-Match", "*")]),
        (412, vec![("If-Match", "\"other\"")]),
        (412, vec![("If-Match", &weak)]),
        (
            412,
            vec![("If-Match", "\"other\""), ("If-None-Match", &tag)],
        ),
        // 13.1.5: the range only of the same version, strongly compared
        (206, vec![("If-Range", &tag), range]),
        (200, vec![("If-Range", "\"other\""), range]),
        (200, vec![("If-Range", &weak), range]),
        (200, vec![("If-Range", date), range]),
        (200, vec![("If-Range", &tag)]),
        // 13.1.3, 13.1.4: there is no date, so dates are ignored
        (200, vec![("If-Modified-Since", date)]),
        (200, vec![("If-Unmodified-Since", date)]),
    ] {
        let answer = desk.request("GET", "/api/take", &headers);
        assert_eq!(answer.status, status, "{headers:?}");
        if status == 304 {
            // 15.4.5: no content, and the validator
            assert!(answer.body.is_empty(), "{headers:?}");
            assert_eq!(answer.header("etag"), Some(tag.as_str()));
        }
    }
    // another take is another version
    let wav = folder.join("evening.wav");
    let mut bytes = std::fs::read(&wav).expect("a take");
    bytes.truncate(bytes.len() - 1000);
    std::fs::write(&wav, &bytes).expect("written");
    let stale = desk.request("GET", "/api/take", &[("If-Range", &tag), range]);
    assert_eq!(stale.status, 200);
    assert_ne!(stale.header("etag"), Some(tag.as_str()));
}

#[test]
fn a_head_says_what_a_get_would() {
    let (_keep, folder) = outside::folder();
    let desk = Desk::open(&take_and_log(&folder));
    for path in [
        "/",
        "/desk/desk.js",
        "/api/song",
        "/api/take",
        "/api/plucked?label=A:min",
    ] {
        let (get, head) = (desk.get(path), desk.request("HEAD", path, &[]));
        assert_eq!(head.status, 200, "{path}");
        assert!(head.body.is_empty(), "{path}");
        for name in ["content-type", "content-length", "etag", "cache-control"] {
            assert_eq!(head.header(name), get.header(name), "{path}: {name}");
        }
    }
    // 14.2: ranges are for GET alone
    let ranged = desk.request("HEAD", "/api/take", &[("Range", "bytes=0-9")]);
    assert_eq!(ranged.status, 200);
}

#[test]
fn nothing_stale_is_shown() {
    let (_keep, folder) = outside::folder();
    let desk = Desk::open(&take_and_log(&folder));
    for path in ["/", "/desk/desk.js", "/desk/desk.css", "/api/take"] {
        let answer = desk.get(path);
        let tag = answer
            .header("etag")
            .unwrap_or_else(|| panic!("{path}: no tag"));
        let control = answer.header("cache-control").unwrap_or_default();
        assert!(
            control.contains("no-cache") && control.contains("private"),
            "{path}: {control}"
        );
        assert_eq!(
            desk.request("GET", path, &[("If-None-Match", tag)]).status,
            304,
            "{path}"
        );
    }
    for path in [
        "/api/song",
        "/api/bar/1",
        "/api/evidence",
        "/api/chart?format=txt",
        "/api/nothing",
    ] {
        assert_eq!(
            desk.get(path).header("cache-control"),
            Some("no-store"),
            "{path}"
        );
    }
}

/// Response headers that the OWASP HTTP Headers Cheat Sheet
/// (cheatsheetseries.owasp.org, "HTTP Security Response Headers", `from
/// memory`) asks for, with what must be in them here.
const OWASP: &[(&str, &[&str])] = &[
    ("x-content-type-options", &["nosniff"]),
    ("x-frame-options", &["DENY"]),
    ("referrer-policy", &["no-referrer"]),
    (
        "content-security-policy",
        &[
            "default-src 'self'",
            "frame-ancestors 'none'",
            "object-src 'none'",
            "base-uri 'none'",
        ],
    ),
    ("cross-origin-opener-policy", &["same-origin"]),
    ("cross-origin-resource-policy", &["same-origin"]),
    ("cross-origin-embedder-policy", &["require-corp"]),
    ("permissions-policy", &["camera=()", "geolocation=()"]),
    ("x-dns-prefetch-control", &["off"]),
];

/// Headers that it says to remove or not to send, and one that would open the desk to others.
const NOT_SENT: &[&str] = &[
    "server",
    "x-powered-by",
    "x-aspnet-version",
    "x-aspnetmvc-version",
    "expect-ct",
    "public-key-pins",
    "access-control-allow-origin",
    "strict-transport-security",
];

#[test]
fn every_answer_has_the_security_headers() {
    let (_keep, folder) = outside::folder();
    let desk = Desk::open(&take_and_log(&folder));
    let tag = desk
        .get("/api/take")
        .header("etag")
        .expect("a tag")
        .to_owned();
    let answers = [
        (200, desk.get("/")),
        (200, desk.get("/desk/desk.js")),
        (200, desk.get("/api/song")),
        (200, desk.get("/api/take")),
        (
            206,
            desk.request("GET", "/api/take", &[("Range", "bytes=0-9")]),
        ),
        (303, desk.get("/?key=old")),
        (
            304,
            desk.request("GET", "/api/take", &[("If-None-Match", &tag)]),
        ),
        (400, desk.get("/api/bar/x")),
        (
            403,
            desk.request("GET", "/", &[("Origin", "http://evil.example")]),
        ),
        (404, desk.get("/nothing")),
        (405, desk.get("/api/undo")),
        (
            416,
            desk.request("GET", "/api/take", &[("Range", "bytes=999999999-")]),
        ),
    ];
    for (status, answer) in answers {
        assert_eq!(answer.status, status);
        for (name, parts) in OWASP {
            let value = answer
                .header(name)
                .unwrap_or_else(|| panic!("{status}: no {name}"));
            for part in *parts {
                assert!(value.contains(part), "{status}: {name}: {value}");
            }
        }
        if status == 405 {
            // RFC 9110, 15.5.6
            assert_eq!(answer.header("allow"), Some("POST"));
            assert!(!answer.error().is_empty());
        }
        for name in NOT_SENT {
            assert!(answer.header(name).is_none(), "{status}: {name} was sent");
        }
        let policy = answer.header("content-security-policy").unwrap_or_default();
        assert!(!policy.contains("unsafe"), "{policy}");
        assert!(!policy.contains("http"), "another host is let in: {policy}");
    }
    // a chart that is shown carries its own style and may stand in the page, but runs nothing
    let chart = desk.get("/api/chart?format=html&inline=1");
    let policy = chart.header("content-security-policy").unwrap_or_default();
    assert!(policy.contains("default-src 'none'") && policy.contains("frame-ancestors 'self'"));
    assert!(
        !policy.contains("script-src") && !policy.contains("http"),
        "{policy}"
    );
}

#[test]
fn every_file_of_the_page_is_served_with_its_type() {
    let (_keep, folder) = outside::folder();
    let desk = Desk::open(&take_and_log(&folder));
    let page = outside::root().join("src/desk/page");
    let mut n = 0;
    for entry in std::fs::read_dir(page).expect("the page's folder") {
        let path = entry.expect("a file").path();
        let name = path
            .file_name()
            .expect("a name")
            .to_string_lossy()
            .into_owned();
        // WHATWG HTML: text/javascript; CSS and HTML as registered with IANA
        let kind = match path.extension().and_then(|e| e.to_str()) {
            Some("js") => "text/javascript; charset=utf-8",
            Some("css") => "text/css; charset=utf-8",
            Some("html") => "text/html; charset=utf-8",
            Some("svg") => "image/svg+xml",
            Some("png") => "image/png",
            _ => panic!("{name}: say here which type it is"),
        };
        let answer = desk.get(&format!("/desk/{name}"));
        assert_eq!(
            answer.status, 200,
            "{name} has no row in the table of src/desk/assets.rs"
        );
        assert_eq!(answer.header("content-type"), Some(kind), "{name}");
        assert!(
            answer.body == std::fs::read(&path).expect("readable"),
            "{name}"
        );
        // nothing comes from elsewhere
        let text = answer.text();
        for far in ["https://", "src=\"//", "@import", "http://"] {
            let named = text
                .match_indices(far)
                .filter(|(at, _)| !text[*at..].starts_with("http://www.w3.org/"))
                .count();
            assert_eq!(named, 0, "{name} names something far away: {far}");
        }
        n += 1;
    }
    assert!(n >= 4, "only {n} files");
    assert_eq!(desk.get("/").body, desk.get("/desk/index.html").body);
}

#[test]
fn charts_are_those_of_the_command_line() {
    let (_keep, folder) = outside::folder();
    let log = take_and_log(&folder);
    let desk = Desk::open(&log);
    desk.decide(&serde_json::json!({"title": "Späte Brücke \"7\"/x"}));
    for (ending, kind) in [
        ("txt", "text/plain; charset=utf-8"),
        ("html", "text/html; charset=utf-8"),
        ("pdf", "application/pdf"),
        ("svg", "image/svg+xml"),
        ("musicxml", "application/vnd.recordare.musicxml+xml"),
        ("mid", "audio/midi"),
        ("vtt", "text/vtt; charset=utf-8"),
        ("lab", "text/tab-separated-values; charset=utf-8"),
        ("jams", "application/json"),
        ("json", "application/json"),
    ] {
        let file = folder.join(format!("chart.{ending}"));
        let output = outside::takebook()
            .args(["chart", "--page", "letter", "--capo", "2", "-o"])
            .args([&file, &log])
            .output()
            .expect("it runs");
        assert!(file.exists(), "{ending}: {output:?}");
        let path = format!("/api/chart?format={ending}&paper=letter&capo=2");
        let answer = desk.get(&path);
        assert_eq!(answer.status, 200, "{ending}: {}", answer.text());
        assert!(
            answer.body == std::fs::read(&file).expect("a chart"),
            "{ending} differs"
        );
        assert_eq!(answer.header("content-type"), Some(kind));
        // RFC 6266, with the name in RFC 8187's form for what is not ASCII
        let way = answer.header("content-disposition").expect("a disposition");
        let name = format!("filename*=UTF-8''Sp%C3%A4te%20Br%C3%BCcke%20-7--x.{ending}");
        assert!(
            way.starts_with("attachment; filename=\"Sp-te Br-cke -7--x."),
            "{way}"
        );
        assert!(way.ends_with(&name), "{way}");
    }
    let shown = desk.get("/api/chart?format=html&inline=1");
    assert!(
        shown
            .header("content-disposition")
            .is_some_and(|w| w.starts_with("inline"))
    );
    // what could run something is never shown in place
    let xml = desk.get("/api/chart?format=musicxml&inline=1");
    assert!(
        xml.header("content-disposition")
            .is_some_and(|w| w.starts_with("attachment"))
    );
}

/// curl (Debian package `curl`) takes a broken download up again where it
/// stopped, and asks for nothing that it has.
#[test]
fn another_program_resumes_a_download() {
    let (_keep, folder) = outside::folder();
    let desk = Desk::open(&take_and_log(&folder));
    let whole = std::fs::read(folder.join("evening.wav")).expect("a take");
    let part = folder.join("part.wav");
    std::fs::write(&part, &whole[..123_457]).expect("written");
    let url = format!("{}/api/take", desk.origin());
    let cookie = format!("Cookie: {}", desk.cookie);
    let curl = |more: &[&std::ffi::OsStr]| {
        let output = outside::tool("curl")
            .args(["--silent", "--show-error", "--fail", "--header", &cookie])
            .args(["--write-out", "%{http_code}"])
            .args(more)
            .arg(&url)
            .output()
            .expect("curl runs");
        assert!(output.status.success(), "{output:?}");
        String::from_utf8_lossy(&output.stdout).into_owned()
    };
    let code = curl(&[
        "--continue-at".as_ref(),
        "-".as_ref(),
        "--output".as_ref(),
        part.as_ref(),
    ]);
    assert_eq!(code, "206");
    assert!(std::fs::read(&part).expect("a file") == whole);
    let (tag, copy) = (folder.join("tag"), folder.join("copy.wav"));
    let save = [
        "--etag-save".as_ref(),
        tag.as_os_str(),
        "--output".as_ref(),
        copy.as_os_str(),
    ];
    assert_eq!(curl(&save), "200");
    let again = [
        "--etag-compare".as_ref(),
        tag.as_os_str(),
        "--output".as_ref(),
        copy.as_os_str(),
    ];
    assert_eq!(curl(&again), "304");
}
