//! The pages, and the answers that people give on them.

use super::{FINDING, Hall, Made, PLAIN};
use inkwatt::store::{Access, Store};
use inkwatt::time::Zone;
use inkwatt::watch::{Findings, Standing};

/// Every page that a plant has.
pub const PAGES: [&str; 8] = [
    "/",
    "/press/p1",
    "/station/p1/s1",
    "/findings",
    "/finding/higher-draw/p1/s1/2026-04-20T00:00Z",
    "/data",
    "/reports",
    "/configuration",
];

#[test]
fn every_page_is_there_and_lets_nothing_in_from_elsewhere() {
    let hall = Hall::made(&PLAIN);
    for path in PAGES {
        let answer = hall.get(path);
        assert_eq!(answer.status, 200, "{path}: {answer:?}");
        let policy = answer.header("Content-Security-Policy").expect("a policy");
        assert!(policy.starts_with("default-src 'none'") && !policy.contains("unsafe"), "{policy}");
        assert_eq!(answer.header("X-Content-Type-Options"), Some("nosniff"));
        assert_eq!(answer.header("Cache-Control"), Some("no-store"), "{path}");
        assert!(answer.body.contains("UV, ozone"), "{path} has the cautions");
        let own = answer.body.split(['"', '\'']).filter(|part| part.starts_with("http"));
        assert_eq!(own.collect::<Vec<_>>(), Vec::<&str>::new(), "{path} names no other site");
    }
    let hall_page = hall.get("/").body;
    for part in ["Press 1, Varnish: draws more than it did", "339 ± 2 W more", "9 GBP in the 28 days ahead"] {
        assert!(hall_page.contains(part), "{part} in\n{hall_page}");
    }
    let missing = hall.get("/press/p9");
    assert!(missing.status == 404 && missing.body.contains("There is no such press"), "{missing:?}");
    let style = hall.get("/board.css");
    let tag = style.header("ETag").expect("a tag").to_owned();
    assert_eq!(hall.ask("GET", "/board.css", &[("If-None-Match", &tag)], "").status, 304);
}

/// What a form of a page carries.
pub fn form_of(page: &str) -> String {
    let (_, rest) = page.split_once("name=\"form\" value=\"").unwrap_or_else(|| panic!("no form in\n{page}"));
    rest.split('"').next().expect("a value").into()
}

/// Where the finding stands by what is stored.
fn stands(hall: &Hall) -> Standing {
    let zone = Zone::parse("Europe/London").expect("a zone");
    let store = Store::open(hall.folder.path(), zone, Access::Read).expect("a store");
    let findings = Findings::of(&store.events_stated().expect("events"));
    findings.get(FINDING).expect("it is kept").standing(inkwatt::acquire::Clock::start(0).now())
}

#[test]
fn an_answer_is_kept_with_its_note_over_a_restart_and_can_be_taken_back() {
    let mut hall = Hall::made(&PLAIN);
    let path = format!("/finding/{FINDING}");
    let form = form_of(&hall.get(&path).body);
    let answer = |hall: &Hall, what: &str| {
        let fields = [
            ("form", form.as_str()),
            ("finding", FINDING),
            ("answer", what),
            ("by", "anna"),
            ("note", "the <window> is cleaned"),
        ];
        let sent = hall.send("/answer", &[], &fields);
        assert_eq!((sent.status, sent.header("Location")), (303, Some(path.as_str())), "{sent:?}");
    };
    answer(&hall, "acknowledge");
    assert_eq!(stands(&hall), Standing::Acknowledged);
    let page = hall.get(&path).body;
    assert!(page.contains("(anna: the &lt;window&gt; is cleaned)"), "{page}");
    hall.stop();
    hall.start();
    assert!(hall.get("/findings").body.contains("acknowledged · since"), "it survives a restart");
    answer(&hall, "reopen");
    assert_eq!(stands(&hall), Standing::Open);
    answer(&hall, "close");
    assert_eq!(stands(&hall), Standing::Closed);
    assert!(!hall.get("/").body.contains("draws more than it did"), "what is closed is not to act on");
}

#[test]
fn a_form_that_does_not_come_from_the_board_changes_nothing() {
    let hall = Hall::made(&PLAIN);
    let form = form_of(&hall.get(&format!("/finding/{FINDING}")).body);
    let send = |form: &str, headers: &[(&str, &str)], more: (&str, &str)| {
        let mut fields =
            vec![("form", form), ("finding", FINDING), ("answer", "close"), ("by", "anna"), ("note", "no")];
        fields.retain(|(name, _)| *name != more.0);
        fields.push(more);
        hall.send("/answer", headers, &fields).status
    };
    assert_eq!(send("", &[], ("x", "")), 403);
    assert_eq!(send(&form[1..], &[], ("x", "")), 403);
    assert_eq!(send(&form, &[("Origin", "http://evil.example")], ("x", "")), 403);
    assert_eq!(send(&form, &[], ("by", " ")), 422);
    assert_eq!(send(&form, &[], ("finding", "no/such")), 422);
    assert_eq!(send(&form, &[], ("answer", "delete")), 422);
    assert_eq!(hall.send("/answer", &[], &[("form", &form)]).status, 422, "a form that lacks a field");
    assert_eq!(stands(&hall), Standing::Open);
    let own = format!("http://{}", hall.address);
    assert_eq!(send(&form, &[("Origin", &own)], ("x", "")), 303);
}

/// Markup, control characters, ten thousand letters: names of presses, stations and jobs come from people and machines.
#[test]
fn hostile_names_do_no_harm_on_any_page() {
    let markup = "<script>alert(1)</script>\"'>&\u{7}\u{1b}[31m</title><img src=x onerror=alert(2)>";
    let long = "W".repeat(10_000);
    for name in [markup, long.as_str()] {
        let hall = Hall::made(&Made { press: name, station: name, ..PLAIN });
        for path in PAGES {
            let answer = hall.get(path);
            assert_eq!(answer.status, 200, "{path}");
            for part in ["<script>alert", "<img src=x", "\u{7}"] {
                assert!(!answer.body.contains(part), "{part:?} in {path}");
            }
        }
        for path in ["/api/v1/plant", "/api/v1/now", "/api/v1/findings"] {
            let answer = hall.get(path);
            assert_eq!((answer.status, answer.json().is_object()), (200, true), "{path}");
        }
        assert_eq!(hall.get("/metrics").status, 200);
    }
}
