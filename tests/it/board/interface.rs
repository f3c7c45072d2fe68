//! The interface for programs, and the metrics.

use super::{FINDING, Hall, PLAIN, python};
use std::io::Write;
use std::process::Stdio;

#[test]
fn answers_carry_a_tag_and_a_mistake_is_told_as_problem_details() {
    let hall = Hall::made(&PLAIN);
    let plant = hall.get("/api/v1/plant");
    assert_eq!(
        (plant.json()["presses"][0]["stations"][0]["lamp"]["rated_w"].as_f64(), plant.status),
        (Some(4_000.0), 200)
    );
    let tag = plant.header("ETag").expect("a tag");
    let again = hall.ask("GET", "/api/v1/plant", &[("If-None-Match", tag)], "");
    assert_eq!((again.status, again.body.as_str()), (304, ""));
    for (path, status, told) in [
        ("/api/v1/nothing", 404, "openapi.json"),
        ("/api/v1/findings?limit=0", 400, "limit must be a whole number from 1 to 500"),
        ("/api/v1/findings?after=x", 400, "after names no item"),
        ("/api/v1/findings?standing=lost", 400, "expected one of open"),
        ("/api/v1/energy?from=2026-02-30", 400, "expected a day such as"),
        ("/api/v1/energy?from=2026-01-01&to=2026-12-31", 400, "365 days; ask for no more than 31"),
        ("/api/v1/findings/none", 404, "no such finding"),
    ] {
        let answer = hall.get(path);
        assert_eq!(answer.header("Content-Type"), Some("application/problem+json"), "{path}");
        let problem = answer.json();
        assert_eq!((answer.status, problem["status"].as_u64()), (status, Some(u64::from(status))), "{path}");
        assert!(problem["detail"].as_str().is_some_and(|detail| detail.contains(told)), "{path}: {problem}");
    }
    let not_read = hall.ask("DELETE", "/api/v1/plant", &[], "");
    assert_eq!((not_read.status, not_read.header("Allow")), (405, Some("GET,HEAD")), "{not_read:?}");
    let one = hall.get(&format!("/api/v1/findings/{}", FINDING.replace('/', "%2F"))).json();
    assert_eq!((one["standing"].as_str(), one["above"]["energy_kwh"].as_str()), (Some("open"), Some("90.300000")));
    let health = hall.get("/healthz/ready").json();
    assert_eq!((health["live"].as_bool(), health["ready"].as_bool()), (Some(true), Some(true)));
}

#[test]
fn lists_come_a_page_at_a_time_and_lose_nothing() {
    let hall = Hall::made(&PLAIN);
    let (mut path, mut ids) = ("/api/v1/findings?limit=1&station=p1%2Fs1".to_owned(), Vec::new());
    for _ in 0..10 {
        let answer = hall.get(&path);
        let page = answer.json();
        ids.extend(
            page["items"].as_array().expect("items").iter().map(|item| item["id"].as_str().expect("an id").to_owned()),
        );
        match page["next"].as_str() {
            None => break,
            Some(next) => {
                assert_eq!(answer.header("Link"), Some(format!("<{next}>; rel=\"next\"").as_str()));
                path = next.into();
            }
        }
    }
    assert_eq!(ids, [FINDING]);
}

/// The text parser of prometheus-client, an independent implementation of OpenMetrics, reads every family with its unit.
#[test]
fn the_metrics_are_open_metrics() {
    const SCRIPT: &str = "
import sys
from prometheus_client.openmetrics.parser import text_string_to_metric_families
families = {f.name: f for f in text_string_to_metric_families(sys.stdin.read())}
assert families['inkwatt_store_ready'].samples[0].value == 1.0
assert families['inkwatt_readings_stored'].type == 'counter'
findings = {s.labels['standing']: s.value for s in families['inkwatt_findings'].samples}
assert findings == {'open': 1.0, 'acknowledged': 0.0, 'snoozed': 0.0}, findings
print(len(families))
";
    let hall = Hall::made(&PLAIN);
    let metrics = hall.get("/metrics");
    assert_eq!(metrics.header("Content-Type"), Some("application/openmetrics-text; version=1.0.0; charset=utf-8"));
    let mut parser =
        python().args(["-c", SCRIPT]).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().expect("it starts");
    parser.stdin.take().expect("piped").write_all(metrics.body.as_bytes()).expect("written");
    let output = parser.wait_with_output().expect("it ends");
    assert!(output.status.success(), "{}", metrics.body);
    let families: usize = String::from_utf8_lossy(&output.stdout).trim().parse().expect("a count");
    assert!(families >= 5, "{families}");
}

/// schemathesis makes requests from the OpenAPI document, sensible and not, the same each time and so many, and holds every answer
/// against it.
#[test]
fn the_interface_does_what_its_document_says() {
    let hall = Hall::made(&PLAIN);
    let document = hall.get("/api/v1/openapi.json").json();
    assert!(document["openapi"].as_str().is_some_and(|version| version.starts_with("3.1")), "{document}");
    assert!(document["paths"].as_object().is_some_and(|paths| paths.len() == 9), "{document}");
    let url = format!("http://{}/api/v1/openapi.json", hall.address);
    let output = python()
        .args(["-m", "schemathesis.cli", "run", &url, "--max-examples", "25", "--workers", "1"])
        // That one day lies before another, and which item a page begins after, no schema can say.
        .args(["--generation-deterministic", "--no-color", "--exclude-checks", "positive_data_acceptance"])
        // Ids hold "/", which its generator of paths mostly throws away by itself.
        .args(["--suppress-health-check", "filter_too_much"])
        .env("HYPOTHESIS_STORAGE_DIRECTORY", hall.folder.path().join("hypothesis"))
        .current_dir(hall.folder.path())
        .output()
        .expect("it starts");
    let told = String::from_utf8_lossy(&output.stdout);
    assert!(output.status.success(), "{told}\n{}", String::from_utf8_lossy(&output.stderr));
}
