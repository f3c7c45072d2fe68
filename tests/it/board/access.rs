//! Tokens, roles, cookies.

use super::pages::form_of;
use super::{Answer, FINDING, Hall, Made, PLAIN};
use std::process::Command;

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
