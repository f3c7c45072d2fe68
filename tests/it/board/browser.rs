//! A real browser: Debian's Chromium, driven through ChromeDriver by the W3C WebDriver protocol.

use super::pages::PAGES;
use super::{FINDING, Hall, Made, PLAIN, ask, until};
use crate::mqtt::{Mosquitto, publish};
use inkwatt::acquire::Clock;
use serde_json::{Value, json};
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use tempfile::TempDir;
use tokio::sync::watch;

/// A browser with one window.
struct Browser {
    driver: Child,
    address: String,
    session: String,
    _profile: TempDir,
}

impl Browser {
    fn open() -> Self {
        Self::with(json!({}))
    }

    /// A browser with preferences of its own.
    fn with(preferences: Value) -> Self {
        let mut driver = Command::new("chromedriver")
            .args(["--port=0", "--allowed-ips=127.0.0.1"])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("chromedriver starts: run tests/all once, it installs it");
        let mut lines = BufReader::new(driver.stdout.take().expect("piped")).lines();
        let port = lines.by_ref().map_while(Result::ok).find_map(|line| {
            let (_, rest) = line.split_once("started successfully on port ")?;
            rest.trim_end_matches('.').parse::<u16>().ok()
        });
        let address = format!("127.0.0.1:{}", port.expect("it tells its port"));
        // Whatever else it says is read, so that it never waits.
        std::thread::spawn(move || lines.for_each(drop));
        let profile = TempDir::new().expect("a folder");
        let mut browser = Self { driver, address, session: String::new(), _profile: profile };
        let arguments = [
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            "--hide-scrollbars",
        ];
        let mut arguments: Vec<String> = arguments.map(String::from).into();
        arguments.push(format!("--user-data-dir={}", browser._profile.path().display()));
        let options = json!({ "args": arguments, "prefs": preferences });
        let wanted = json!({ "capabilities": { "alwaysMatch": { "goog:chromeOptions": options } } });
        let session = browser.command("POST", "/session", &wanted);
        browser.session = session["sessionId"].as_str().unwrap_or_else(|| panic!("{session}")).into();
        browser
    }

    fn command(&self, method: &str, path: &str, body: &Value) -> Value {
        let text = if method == "GET" { String::new() } else { body.to_string() };
        let answer = ask(&self.address, method, path, &[("Content-Type", "application/json")], &text);
        let mut value = answer.json();
        assert_eq!(answer.status, 200, "{method} {path}: {value}");
        value["value"].take()
    }

    fn of(&self, method: &str, path: &str, body: &Value) -> Value {
        self.command(method, &format!("/session/{}{path}", self.session), body)
    }

    fn go(&self, url: &str) {
        self.of("POST", "/url", &json!({ "url": url }));
    }

    /// What a script gives.
    fn run(&self, script: &str) -> Value {
        self.of("POST", "/execute/sync", &json!({ "script": script, "args": [] }))
    }

    /// What a script hands to its last argument.
    fn run_later(&self, script: &str) -> Value {
        self.of("POST", "/execute/async", &json!({ "script": script, "args": [] }))
    }

    fn text(&self, selector: &str) -> String {
        let element = self.element(selector);
        self.of("GET", &format!("/element/{element}/text"), &Value::Null).as_str().unwrap_or_default().into()
    }

    fn element(&self, selector: &str) -> String {
        let found = self.of("POST", "/element", &json!({ "using": "css selector", "value": selector }));
        // The key under which the protocol names an element (WebDriver, 12.2).
        found["element-6066-11e4-a52e-4f735466cecf"].as_str().unwrap_or_else(|| panic!("{selector}: {found}")).into()
    }

    fn type_into(&self, selector: &str, text: &str) {
        let element = self.element(selector);
        self.of("POST", &format!("/element/{element}/value"), &json!({ "text": text }));
    }

    /// Presses keys one after the other, whatever has the focus.
    fn press(&self, keys: &[&str]) {
        let each = keys
            .iter()
            .flat_map(|key| [json!({ "type": "keyDown", "value": key }), json!({ "type": "keyUp", "value": key })]);
        let keyboard = json!({ "type": "key", "id": "keyboard", "actions": each.collect::<Vec<_>>() });
        self.of("POST", "/actions", &json!({ "actions": [keyboard] }));
    }

    /// A window of that size whose user wants that scheme.
    fn look(&self, (width, height): (u32, u32), scheme: &str) {
        let sized = json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": false });
        self.devtools("Emulation.setDeviceMetricsOverride", &sized);
        let media = json!({ "features": [{ "name": "prefers-color-scheme", "value": scheme }] });
        self.devtools("Emulation.setEmulatedMedia", &media);
    }

    fn devtools(&self, command: &str, parameters: &Value) {
        self.of("POST", "/goog/cdp/execute", &json!({ "cmd": command, "params": parameters }));
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        if !self.session.is_empty() && !std::thread::panicking() {
            let _ = ask(&self.address, "DELETE", &format!("/session/{}", self.session), &[], "");
        }
        let _ = self.driver.kill();
        let _ = self.driver.wait();
    }
}

const TAB: &str = "\u{e004}";
const ENTER: &str = "\u{e007}";

/// A plant whose station is told its draw by a broker.
fn told_by_broker(broker: &Mosquitto) -> Hall {
    let more = format!(
        "[mqtt]\nhost = '127.0.0.1'\nport = {}\nclient_id = 'inkwatt'\n[[mqtt.topic]]\npattern = 'hall/{{meter}}'\n\
         is = 'power'\nunit = 'W'\nvalue = '/v'\ntime = '/t'\n",
        broker.port
    );
    Hall::made(&Made { more: &more, ..PLAIN })
}

async fn draws(broker: &Mosquitto, watts: i64) {
    let at = Clock::start(0).now().0;
    let text = format!("{{\"v\": {watts}, \"t\": {at}}}");
    publish(broker.port, vec![("hall/p1-s1", false, text)], watch::Sender::new(0)).await;
}

/// The figure on an open page follows the meter without a reload; what has the focus keeps it.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_open_page_follows_the_meter() {
    let broker = Mosquitto::open();
    let hall = told_by_broker(&broker);
    until("the connection to the broker", || !hall.get("/data").body.contains("broker is not connected"));
    draws(&broker, 1_250).await;
    let browser = Browser::open();
    browser.go(&format!("http://{}/", hall.address));
    browser.run("window.stays = 1; document.querySelector('.press a').focus()");
    let draw = "[data-live='p1/s1.draw']";
    until("the first draw", || browser.text(draw) == "1.25");
    assert_eq!(browser.run("return document.querySelector('ol.stations li').dataset.state"), "curing");
    draws(&broker, 70).await;
    until("the second draw", || browser.text(draw) == "0.07");
    assert_eq!(browser.run("return document.querySelector('ol.stations li').dataset.state"), "standby");
    until("the word live", || browser.text("#link") == "live");
    assert_eq!(browser.run("return window.stays"), 1, "the page was not loaded again");
    assert_eq!(browser.run("return document.activeElement.getAttribute('href')"), "/press/p1");
}

/// Without scripts the page is right as it is loaded, and loads itself again; an answer can be given.
#[test]
fn without_scripts_the_pages_work() {
    let hall = Hall::made(&PLAIN);
    let browser = Browser::with(json!({ "profile.managed_default_content_settings.javascript": 2 }));
    browser.go(&format!("http://{}/", hall.address));
    assert!(browser.text("main").contains("Varnish"));
    assert!(hall.get("/").body.contains("<noscript><meta http-equiv=\"refresh\" content=\"10\"></noscript>"));
    browser.go(&format!("http://{}/finding/{FINDING}", hall.address));
    browser.type_into("[name=by]", "anna");
    browser.type_into("[name=note]", "looks into it");
    let button = browser.element("button[value=acknowledge]");
    browser.of("POST", &format!("/element/{button}/click"), &json!({}));
    until("the answer", || browser.text("main").contains("acknowledged on"));
}

/// From the hall to an acknowledged finding by the keyboard alone, with the focus to be seen on the way.
#[test]
fn a_finding_is_acknowledged_by_the_keyboard_alone() {
    let hall = Hall::made(&PLAIN);
    let browser = Browser::open();
    browser.go(&format!("http://{}/", hall.address));
    let focused = |what: &str| browser.run(what);
    let tab_to = |what: &str, wanted: &str| {
        for _ in 0..40 {
            browser.press(&[TAB]);
            if focused(&format!("return document.activeElement.matches({})", json!(wanted))) == true {
                let outline = focused("return getComputedStyle(document.activeElement).outlineStyle");
                assert_ne!(outline, "none", "{what} shows its focus");
                return;
            }
        }
        panic!("{what} is not reached by the tabulator");
    };
    browser.press(&[TAB]);
    assert_eq!(focused("return document.activeElement.className"), "skip", "the first stop leads to the content");
    browser.press(&[ENTER]);
    tab_to("the finding", "a[href^='/finding/']");
    browser.press(&[ENTER]);
    until("the page of the finding", || {
        focused("return location.pathname").as_str().is_some_and(|path| path.starts_with("/finding/"))
    });
    tab_to("the name", "[name=by]");
    browser.press(&["a", "n", "n", "a", TAB]);
    browser.press(&["o", "k"]);
    tab_to("the button", "button[value=acknowledge]");
    browser.press(&[ENTER]);
    until("the answer", || browser.text("main").contains("acknowledged on"));
}

/// axe-core, the rules of WCAG 2.0 to 2.2 at A and AA, on every page, narrow and wide, light and dark; nothing runs over the edge.
#[test]
fn every_page_is_accessible_at_any_width_light_and_dark() {
    let axe = Path::new(env!("CARGO_MANIFEST_DIR")).join(".venv/axe.min.js");
    let axe = std::fs::read_to_string(&axe).unwrap_or_else(|_| panic!("{}: run tests/all once", axe.display()));
    let hall = Hall::made(&PLAIN);
    let browser = Browser::open();
    for path in PAGES {
        for (size, scheme) in [((360, 740), "light"), ((1_920, 1_080), "dark"), ((1_280, 900), "light")] {
            browser.look(size, scheme);
            browser.go(&format!("http://{}{path}", hall.address));
            let over =
                browser.run("return document.documentElement.scrollWidth - document.documentElement.clientWidth");
            assert_eq!(over, 0, "{path} at {size:?} runs over its edge");
            browser.run(&axe);
            let found = browser.run_later(
                "const done = arguments[arguments.length - 1];
                 axe.run(document, { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa'] }).then(
                   (told) => done(told.violations.map((v) => v.id + ': ' + v.nodes.map((n) => n.html + ' ' + n.failureSummary).join(' | '))),
                   (fault) => done(['axe: ' + fault]));",
            );
            assert_eq!(found, json!([]), "{path} at {size:?}, {scheme}");
        }
    }
}
