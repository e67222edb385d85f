//! A program of this machine that has no link: it can open connections and read what every
//! user may read. Neither may stop the work on the page or give the session away.

use super::Desk;
use super::client::{some_note, take_and_log};
use crate::outside;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::process::Command;
use std::time::{Duration, Instant};

/// Longer than the desk waits for the head of a request, and less than for ever.
const CLOSED_WITHIN: Duration = Duration::from_secs(40);

fn connect(desk: &Desk) -> TcpStream {
    let stream = TcpStream::connect(("127.0.0.1", desk.port)).expect("the desk listens");
    stream
        .set_read_timeout(Some(CLOSED_WITHIN))
        .expect("a time limit");
    stream
}

/// Whether the other side has closed; waits for it.
fn is_closed(stream: &mut TcpStream) -> bool {
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).is_ok()
        || matches!(stream.write_all(b"x"), Err(e) if e.kind() != std::io::ErrorKind::WouldBlock)
}

#[cfg(unix)]
#[test]
fn idle_connections_without_a_cookie_do_not_stop_decisions() {
    let (_keep, folder) = outside::folder();
    let log = take_and_log(&folder);
    // a desk that may have few files open, and more connections than that
    let program = outside::takebook();
    let mut command = Command::new("sh");
    command
        .args(["-c", "ulimit -n 200; exec \"$0\" desk --no-open \"$1\""])
        .arg(program.get_program())
        .arg(&log);
    let desk = Desk::start(command).entered();
    let mut idle = Vec::new();
    for i in 0..600 {
        if let Ok(mut stream) = TcpStream::connect(("127.0.0.1", desk.port)) {
            let head = format!("GET / HTTP/1.1\r\nHost: 127.0.0.1:{}\r\n", desk.port);
            let _ = stream.write_all(&head.as_bytes()[..i % head.len()]);
            idle.push(stream);
        }
        if i % 200 == 199 {
            let told = desk.decide(&some_note(1));
            assert!(told["decision"].is_number(), "{told}");
        }
    }
    assert!(idle.len() > 500, "{} connections", idle.len());
    let told = desk.decide(&some_note(1));
    assert!(told["decision"].is_number(), "{told}");
}

#[test]
fn a_connection_that_says_nothing_or_says_it_slowly_is_closed() {
    let (_keep, folder) = outside::folder();
    let desk = Desk::open(&take_and_log(&folder));
    let start = Instant::now();
    let mut silent = connect(&desk);
    let mut slow = connect(&desk);
    let head = format!("GET / HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nX: ", desk.port);
    slow.write_all(head.as_bytes()).expect("sent");
    let drip = std::thread::spawn(move || {
        while slow.write_all(b"x").is_ok() && start.elapsed() < CLOSED_WITHIN {
            std::thread::sleep(Duration::from_millis(200));
        }
        start.elapsed()
    });
    assert!(is_closed(&mut silent), "the silent one");
    assert!(
        drip.join().expect("it ends") < CLOSED_WITHIN,
        "the slow one"
    );
    assert!(start.elapsed() < CLOSED_WITHIN);
}

#[test]
fn many_sounds_at_once_do_not_stop_decisions() {
    let (_keep, folder) = outside::folder();
    let desk = Desk::open(&take_and_log(&folder));
    std::thread::scope(|scope| {
        for i in 0..60 {
            let desk = &desk;
            scope.spawn(move || {
                let path = format!("/api/plucked?label=C:maj&seconds={}", 10 + i % 10);
                assert_eq!(desk.get(&path).status, 200, "{path}");
            });
        }
        let start = Instant::now();
        let told = desk.decide(&some_note(1));
        assert!(told["decision"].is_number(), "{told}");
        assert!(
            start.elapsed() < CLOSED_WITHIN,
            "a decision does not wait for sounds"
        );
    });
}

/// Every user of a machine can read the arguments of every program.
#[cfg(unix)]
#[test]
fn the_key_is_no_argument_of_the_browser() {
    use std::os::unix::fs::PermissionsExt;
    let (_keep, folder) = outside::folder();
    let log = take_and_log(&folder);
    // a browser that writes down what it was called with, and what it was led to
    let bin = folder.join("bin");
    std::fs::create_dir(&bin).expect("a folder");
    let browser = bin.join("xdg-open");
    let script = format!(
        "#!/bin/sh\nstat -c %a \"$1\" > {0}/mode\ncp \"$1\" {0}/page\necho \"$*\" > {0}/called.part\nmv {0}/called.part {0}/called\n",
        folder.display()
    );
    std::fs::write(&browser, script).expect("written");
    std::fs::set_permissions(&browser, PermissionsExt::from_mode(0o755)).expect("executable");
    let path = format!(
        "{}:{}",
        bin.display(),
        std::env::var("PATH").unwrap_or_default()
    );
    let mut command = outside::takebook();
    command.arg("desk").arg(&log).env("PATH", path);
    let desk = Desk::start(command);
    let called = folder.join("called");
    let start = Instant::now();
    while !called.exists() && start.elapsed() < CLOSED_WITHIN {
        std::thread::sleep(Duration::from_millis(20));
    }
    let read = |name: &str| std::fs::read_to_string(folder.join(name)).expect("written");
    let key = desk.path_of_link();
    let key = key.trim_start_matches("/?key=");
    assert!(!read("called").contains(key), "{}", read("called"));
    assert_eq!(read("mode").trim(), "600");
    assert!(read("page").contains(&desk.link), "it leads to the desk");
    let file = read("called").trim().to_owned();
    // once the link was used the file is gone
    let _desk = desk.entered();
    let start = Instant::now();
    while std::path::Path::new(&file).exists() && start.elapsed() < CLOSED_WITHIN {
        std::thread::sleep(Duration::from_millis(20));
    }
    assert!(!std::path::Path::new(&file).exists(), "{file}");
}
