//! Tokens, roles, cookies.

use super::pages::form_of;
use super::{Answer, FINDING, Hall, Made, PATIENCE, PLAIN};
use crate::certified::Certified;
use std::fs;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::Command;
use std::sync::Arc;
use tempfile::TempDir;
use ureq::tls::{Certificate, RootCerts, TlsConfig};

/// A plant with a token for each role, made by the command; the tokens.
fn guarded() -> (Hall, String, String) {
    let made = |name: &str, role: &str| {
        let output = Command::new(env!("CARGO_BIN_EXE_inkwatt"))
            .args(["token", name, "--role", role])
            .output()
            .expect("it runs");
        let text = String::from_utf8(output.stdout).expect("UTF-8");
        let (token, rest) = text.split_once('\n').expect("lines");
        let lines = &rest[rest.find("[[board.token]]").expect("what to write")..];
        assert_eq!(token.len(), 64, "{text}");
        assert!(!lines.contains(token), "the token itself is not written");
        (token.to_owned(), lines.to_owned())
    };
    let ((view, view_lines), (act, act_lines)) = (made("hall \"screen\"", "view"), made("anna", "act"));
    let hall = Hall::made(&Made { board: &format!("{view_lines}{act_lines}"), ..PLAIN });
    (hall, view, act)
}

fn cookie(answer: &Answer) -> String {
    let set = answer.header("Set-Cookie").unwrap_or_else(|| panic!("no cookie: {answer:?}"));
    for part in ["HttpOnly", "SameSite=Strict", "Path=/", "Max-Age="] {
        assert!(set.contains(part), "{part} in {set}");
    }
    set.split(';').next().expect("a value").into()
}

#[test]
fn without_a_token_nothing_is_shown_and_with_one_what_its_role_allows() {
    let (hall, view, act) = guarded();
    for path in ["/", "/findings", "/reports/2026-01/report.html"] {
        let answer = hall.get(path);
        assert_eq!((answer.status, answer.header("Location")), (303, Some("/enter")), "{path}");
        assert!(!answer.body.contains("Press 1"));
    }
    for path in ["/api/v1/plant", "/metrics", "/healthz/ready", "/live"] {
        let answer = hall.get(path);
        assert_eq!(
            (answer.status, answer.header("WWW-Authenticate")),
            (401, Some("Bearer realm=\"inkwatt\"")),
            "{path}"
        );
        assert_eq!(answer.header("Content-Type"), Some("application/problem+json"), "{path}");
    }
    assert_eq!(hall.get("/healthz/live").status, 200, "a supervisor needs no token to see that it answers");
    let bearer = |token: &str| format!("Bearer {token}");
    assert_eq!(hall.ask("GET", "/api/v1/plant", &[("Authorization", &bearer(&view))], "").status, 200);
    // By another name than the machine's own: with tokens the token decides.
    let elsewhere = [("Authorization", bearer(&view)), ("Host", "plant.example".to_owned())];
    let elsewhere = elsewhere.each_ref().map(|(name, value)| (*name, value.as_str()));
    assert_eq!(hall.ask("GET", "/api/v1/plant", &elsewhere, "").status, 200);

    let entered = |token: &str| cookie(&hall.send("/enter", &[], &[("token", token)]));
    let (viewer, anna) = (entered(&view), entered(&act));
    let path = format!("/finding/{FINDING}");
    let page = |cookie: &str| hall.ask("GET", &path, &[("Cookie", cookie)], "").body;
    assert!(page(&viewer).contains("enter with a token that may act"));
    let form = form_of(&page(&anna));
    let send = |cookie: &str, form: &str| {
        let fields =
            [("form", form), ("finding", FINDING), ("answer", "acknowledge"), ("by", "Anna"), ("note", "seen")];
        hall.send("/answer", &[("Cookie", cookie)], &fields).status
    };
    assert_eq!(send(&viewer, &form), 403, "view does not act");
    assert_eq!(send(&viewer, &form_of(&page(&viewer))), 403);
    assert_eq!(send(&anna, &form_of(&page(&viewer))), 403, "the form of another session");
    assert_eq!(send(&anna, &form), 303);
    assert!(page(&viewer).contains("(Anna (anna): seen)"), "who answered stands beside the token's name");
    let forged = anna.replacen('=', "=0", 1);
    assert_eq!(hall.ask("GET", "/", &[("Cookie", &forged)], "").status, 303);
    let left = hall.send("/leave", &[("Cookie", &anna)], &[("form", &form)]);
    assert!(left.header("Set-Cookie").is_some_and(|set| set.contains("Max-Age=0")), "{left:?}");
}

#[test]
fn whoever_guesses_tokens_has_to_wait() {
    let (hall, view, _) = guarded();
    for _ in 0..10 {
        let wrong = hall.send("/enter", &[], &[("token", "guess")]);
        assert_eq!(wrong.status, 401);
        assert!(wrong.body.contains("This is no token of this plant"), "{wrong:?}");
    }
    assert_eq!(hall.send("/enter", &[], &[("token", &view)]).status, 429, "even with the right one");
    let bearer = format!("Bearer {view}");
    let waits = hall.ask("GET", "/api/v1/plant", &[("Authorization", &bearer)], "");
    assert_eq!(waits.status, 429);
    let seconds: u32 = waits.header("Retry-After").and_then(|text| text.parse().ok()).expect("how long");
    assert!((1..=600).contains(&seconds), "{waits:?}");
}

/// A certificate for localhost by an authority of its own, in a folder: certificate, key, authority.
fn certified() -> TempDir {
    let (folder, made) = (TempDir::new().expect("a folder"), Certified::new());
    let files = [("board.pem", made.certificate), ("board.key", made.key), ("ca.pem", made.authority)];
    files.into_iter().for_each(|(name, text)| fs::write(folder.path().join(name), text).expect("written"));
    folder
}

/// Who trusts an authority.
fn visitor(authority: &Path) -> ureq::Agent {
    let pem = fs::read(authority).expect("an authority");
    let roots = RootCerts::Specific(Arc::new(vec![Certificate::from_pem(&pem).expect("a certificate")]));
    ureq::Agent::config_builder()
        .tls_config(TlsConfig::builder().root_certs(roots).build())
        .timeout_global(Some(PATIENCE))
        .http_status_as_error(false)
        .max_redirects(0)
        .build()
        .into()
}

/// The board serves TLS by files: whoever trusts its authority sees it, nobody else does, cookies never travel in the clear, and a
/// visitor who says nothing does not keep the others.
#[test]
fn the_board_is_served_over_tls_by_files() {
    let (files, others) = (certified(), certified());
    let path = |name: &str| files.path().join(name).display().to_string();
    let board = format!("certificate_file = '{}'\nkey_file = '{}'\n", path("board.pem"), path("board.key"));
    let tokens =
        Command::new(env!("CARGO_BIN_EXE_inkwatt")).args(["token", "anna", "--role", "act"]).output().expect("it runs");
    let text = String::from_utf8(tokens.stdout).expect("UTF-8");
    let token = text.lines().next().expect("a token");
    let lines = &text[text.find("[[board.token]]").expect("what to write")..];
    let hall = Hall::made(&Made { board: &format!("{board}{lines}"), ..PLAIN });
    let port = hall.address.rsplit(':').next().expect("a port").to_owned();
    let silent: Vec<TcpStream> = (0..40).map(|_| TcpStream::connect(&hall.address).expect("a connection")).collect();
    let home = format!("https://localhost:{port}");
    let anna = visitor(&files.path().join("ca.pem"));
    let answer = anna.get(format!("{home}/healthz/live")).call().expect("an answer over TLS");
    assert_eq!(answer.status(), 200);
    let entered = anna.post(format!("{home}/enter")).send_form([("token", token)]).expect("an answer");
    let cookie = entered.headers()["set-cookie"].to_str().expect("a text").to_owned();
    assert!(cookie.contains("Secure"), "{cookie}");
    let name = cookie.split(';').next().expect("a value");
    let mut page = anna.get(format!("{home}/")).header("cookie", name).call().expect("the board");
    assert!(page.body_mut().read_to_string().expect("a page").contains("Press 1"));
    let stranger = visitor(&others.path().join("ca.pem")).get(format!("{home}/healthz/live")).call();
    assert!(stranger.is_err(), "{stranger:?}");
    let mut plain = TcpStream::connect(&hall.address).expect("a connection");
    plain.set_read_timeout(Some(PATIENCE)).expect("set");
    plain.write_all(b"GET /healthz/live HTTP/1.1\r\nHost: localhost\r\n\r\n").expect("sent");
    let mut told = Vec::new();
    let _ = plain.read_to_end(&mut told);
    assert!(!told.starts_with(b"HTTP/"), "nothing is served in the clear");
    drop(silent);
}

/// Files that TLS cannot be served with are named, with what to do.
#[test]
fn files_that_tls_cannot_be_served_with_are_named() {
    let (files, others) = (certified(), certified());
    let path = |folder: &TempDir, name: &str| folder.path().join(name).display().to_string();
    let cases = [
        (path(&files, "nowhere.pem"), path(&files, "board.key"), "nowhere.pem"),
        (path(&files, "board.key"), path(&files, "board.key"), "there is no certificate in it"),
        (path(&files, "board.pem"), path(&files, "ca.pem"), "ca.pem"),
        (path(&files, "board.pem"), path(&others, "board.key"), "board.pem"),
    ];
    for (certificate, key, part) in cases {
        let board = format!("certificate_file = '{certificate}'\nkey_file = '{key}'\n");
        let hall = Hall::folder(&Made { board: &board, ..PLAIN });
        let output = Command::new(env!("CARGO_BIN_EXE_inkwatt"))
            .args(["--plant".as_ref(), hall.folder.path().as_os_str(), "run".as_ref()])
            .output()
            .expect("the program runs");
        let told = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{told}");
        assert!(told.contains(part) && told.contains("help: certificate_file and key_file"), "{part} in {told}");
    }
}
