//! Bills of the supplier beside the meter and the tariffs. The bills are invented; what they are held against is the open
//! dataset of a steel works, whose kWh and peaks of each month were summed apart from Inkwatt (`tests/reference/README.md`).

use crate::baseline::{Press, freeze, number};
use crate::import::{Plant, works};
use inkwatt::readings::Happening;
use std::process::Command;

const TARIFFS: &str = "[[tariff]]\nname = \"old\"\nvalid_from = 2018-01-01\ncurrency = \"KRW\"\nsource = \"test\"\n\
    [[tariff.band]]\nname = \"energy\"\nprice = 0.10\n[[tariff.demand]]\nname = \"demand\"\nprice = 5\n\
    [[tariff.tax]]\nname = \"tax\"\nshare = 0.1\n\
    [[tariff]]\nname = \"new\"\nvalid_from = 2018-03-01\ncurrency = \"KRW\"\nsource = \"test\"\n\
    [[tariff.band]]\nname = \"energy\"\nprice = 0.12\n[[tariff.demand]]\nname = \"demand\"\nprice = 5\n\
    [[tariff.tax]]\nname = \"tax\"\nshare = 0.1\n";

const HEADER: &str = "id;meter;from;to;kwh;amount;currency;peak_kw;reading\n";

/// January as metered: (126,238.29 x 0.10 + 612.56 x 5) x 1.1 = 17,255.29. February at 5/4 of the meter, March at the price
/// before, April up to the 28th, May estimated 1,000 kWh too high, June lower by as much, July with 3 % for losses.
const BILLS: &str = "R-1;S-1;2018-01-01;2018-01-31;126238,29;17255,29;KRW;612,56;actual\n\
    R-2;S-1;2018-02-01;2018-02-28;114371,675;16582,41;KRW;727,55;\n\
    R-3;S-1;2018-03-01;2018-03-31;80230,41;12154,17;KRW;605,24;actual\n\
    R-4;S-1;2018-04-01;2018-04-30;76072,36;13100,21;KRW;556,12;actual\n\
    R-5;S-1;2018-05-01;2018-05-31;80059,28;13648,71;KRW;560,16;estimated\n\
    R-6;S-1;2018-06-01;2018-06-30;64404,64;11446,11;KRW;535,40;actual\n\
    R-7;S-1;2018-07-01;2018-07-31;84124,64;13781,41;KRW;486,72;actual\n";

fn of_works() -> Plant {
    let works = works();
    std::fs::create_dir(works.path().join("config/tariffs")).expect("a folder");
    works.file("config/tariffs/own.toml", TARIFFS);
    works
}

fn bill(works: &Plant, arguments: &[&str]) -> (Option<i32>, String, String) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_inkwatt"));
    let output = command.current_dir(works.path()).arg("bill").args(arguments).output().expect("it runs");
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (output.status.code(), text(&output.stdout), text(&output.stderr))
}

fn json(works: &Plant, arguments: &[&str]) -> serde_json::Value {
    let (_, out, err) = bill(works, &[arguments, &["--json"]].concat());
    serde_json::from_str(&out).unwrap_or_else(|_| panic!("{out}{err}"))
}

#[test]
fn bills_are_held_against_the_meter_and_the_likely_cause_of_a_difference_is_named() {
    let works = of_works();
    works.file("bills.csv", &format!("{HEADER}{BILLS}"));
    let told = String::from_utf8(works.import(&["bills", "bills.csv"]).stdout).expect("text");
    assert_eq!(told, "bills.csv: 7 lines; 7 new, 0 same, 0 corrected; 0 lines refused\n");
    let found = json(&works, &["--check"]);
    let figure = |bill: usize, figure: usize| found["bills"][bill]["figures"][figure].clone();
    let causes = |bill: usize, place: usize| -> Vec<String> {
        let one = figure(bill, place);
        assert_eq!(one["differs"], true, "{one}");
        let causes = one["causes"].as_array().expect("a list").clone();
        causes.iter().map(|cause| cause.as_str().expect("a text").to_owned()).collect()
    };
    for place in 0..3 {
        let one = figure(0, place);
        assert_eq!((&one["differs"], &one["causes"]), (&false.into(), &serde_json::json!([])), "{one}");
    }
    assert_eq!(figure(0, 0)["ours"], "126238.290000");
    assert_eq!(figure(0, 2)["ours"], "17255.291900");
    let multiplier = "meter multiplier: it is 1.2500 times what the meter shows, as by another transformer ratio";
    assert_eq!((causes(1, 0), causes(1, 1)), (vec![multiplier.to_owned()], vec![multiplier.to_owned()]));
    assert_eq!(causes(1, 2), ["kWh: at the kWh billed the money agrees"]);
    assert_eq!(causes(2, 2), ["tariff version: it agrees at the prices of \"old\" since 2018-01-01 throughout"]);
    assert_eq!(causes(3, 0), ["period: it agrees from 2018-04-01 to 2018-04-28"]);
    assert_eq!(causes(3, 2), ["kWh: they differ as well, by −3.42 %"]);
    let together = |other| format!("estimated reading: together with bill {other} the kWh agree");
    let says = "estimated reading: the bill says so; the next one should make up for it".to_owned();
    assert_eq!(causes(4, 0), [says, together("R-6")]);
    assert_eq!(causes(5, 0), [together("R-5")]);
    assert_eq!(causes(6, 0), ["losses: the bill may add some, x 1.0300; the tariff has no loss_multiplier"]);

    let (code, text, _) = bill(&works, &["2018-01", "--check"]);
    assert_eq!(code, Some(0));
    let expected = "Bill R-1 from 2018-01-01 to 2018-01-31, meter S-1\n                  billed            ours        difference\n  \
                    energy      126,238.29      126,238.29  kWh       0.00 %\n  \
                    peak            612.56          612.56  kW        0.00 %\n  \
                    amount       17,255.29       17,255.29  KRW       0.00 %\n";
    assert_eq!(text, expected);
    let (code, text, _) = bill(&works, &["--from", "2018-03-01", "--to", "2018-03-31", "--check"]);
    assert_eq!(code, Some(1));
    assert!(
        text.contains("amount       12,154.17       13,919.23  KRW     −12.68 %\n      tariff version: it agrees"),
        "{text}"
    );
}

/// A bill again is the same bill; another text under its number takes its place; days billed twice are said.
#[test]
fn a_bill_is_a_fact_with_revisions() {
    let works = of_works();
    let first = BILLS.lines().next().expect("a bill");
    let import = |text: &str| {
        works.file("bills.csv", &format!("{HEADER}{text}\n"));
        String::from_utf8(works.import(&["bills", "bills.csv"]).stdout).expect("text")
    };
    assert!(import(first).contains("1 new, 0 same, 0 corrected"));
    assert!(import(first).contains("0 new, 1 same, 0 corrected"));
    let told = import(&first.replace("126238,29", "126000"));
    assert!(told.contains("0 new, 0 same, 1 corrected"), "{told}");
    let events = works.store("Asia/Seoul").events().expect("events").value;
    let [event] = &events[..] else { panic!("one bill: {events:?}") };
    let Happening::SupplierBill(one) = &event.what else { panic!("a bill: {event:?}") };
    assert_eq!((event.revision, one.energy.mwh(), one.peak_kw), (1, 126_000_000_000, Some(612_560_000)));
    import(&first.replace("R-1", "R-1a").replace("2018-01-01", "2018-01-31"));
    let (_, text, _) = bill(&works, &["--check"]);
    assert!(text.contains("some of its days are billed again by R-1a\n"), "{text}");
    let (code, _, error) = bill(&works, &["2018-06", "--check"]);
    assert_eq!(code, Some(2));
    let help = "help: `inkwatt import bills FILE` takes them in\n";
    assert_eq!(error, format!("error: no bill of the supplier is on file for these days\n{help}"));
}

#[test]
fn a_bill_that_cannot_be_of_this_plant_is_refused_with_the_reason() {
    let works = of_works();
    let first = BILLS.lines().next().expect("a bill");
    let wrong = [
        (
            "S-1",
            "S-9",
            "meter: found \"S-9\", expected S-1, the serial numbers of the fiscal meters; is it a bill of another site?",
        ),
        ("S-1", "S-1+S-9", "meter: found \"S-1+S-9\", expected S-1, the"),
        ("KRW", "EUR", "currency: found \"EUR\", expected KRW: Inkwatt never converts money"),
        ("2018-01-31", "2017-12-31", "to: found \"2017-12-31\", expected a day from 2018-01-01 on"),
        ("2018-01-31", "2019-01-31", "to: found \"2019-01-31\", expected a day less than 366 days after 2018-01-01"),
        (
            "126238,29",
            "126.238,29",
            "kwh: found \"126.238,29\", expected a number of 0 or more with the decimal sign ,",
        ),
        ("126238,29", "-1", "kwh: found \"-1\", expected a number of 0 or more"),
        ("126238,29", "", "kwh: found \"\", expected the kWh billed"),
        ("17255,29", "", "amount: found \"\", expected what is to be paid"),
        ("R-1", "", "id: found \"\", expected a text"),
        ("actual", "guessed", "reading: found \"guessed\", expected actual or estimated"),
    ];
    let rows: Vec<String> = wrong.iter().map(|(good, bad, _)| first.replacen(good, bad, 1)).collect();
    works.file("bills.csv", &format!("{HEADER}{}\n", rows.join("\n")));
    let output = works.import(&["bills", "bills.csv"]);
    assert_eq!(output.status.code(), Some(1));
    let refused = std::fs::read_to_string(works.path().join("bills.csv.refused.csv")).expect("a file");
    let refused = refused.replace("\"\"", "\"");
    for (line, (.., reason)) in refused.lines().skip(1).zip(&wrong) {
        assert!(line.contains(reason), "{reason} in {line}");
    }
    assert_eq!(refused.lines().count(), wrong.len() + 1);
    works.file("bills.csv", "id,meter,from,to,kwh,amount,currency,price\n");
    let error = String::from_utf8(works.import(&["bills", "bills.csv"]).stderr).expect("text");
    assert!(error.contains("header: found \"price\", expected columns of these names: id, meter"), "{error}");
}

/// By hand: January and February at 0.12 instead of 0.10: 217,735.63 kWh x 0.02 x 1.1 = 4,790.18 more; at half the demand's
/// price (612.56 + 582.04) x 2.50 x 1.1 = 3,285.15 less.
#[test]
fn the_same_load_is_billed_by_the_tariffs_of_a_file() {
    let works = of_works();
    let offer = "[[tariff]]\nname = \"offer\"\nvalid_from = 2019-01-01\ncurrency = \"KRW\"\nsource = \"test\"\n\
        [[tariff.band]]\nname = \"energy\"\nprice = 0.12\n[[tariff.demand]]\nname = \"demand\"\nprice = 2.5\n\
        [[tariff.tax]]\nname = \"tax\"\nshare = 0.1\n";
    works.file("offer.toml", offer);
    let days = ["--from", "2018-01-01", "--to", "2018-02-28", "--at", "offer.toml"];
    let found = json(&works, &days);
    assert_eq!(found["months"].as_array().expect("months").len(), 2);
    assert_eq!(found["months"][0]["now"], "17255.291900");
    assert_eq!(found["total"]["difference"], "1505.033860");
    let (code, text, _) = bill(&works, &days);
    assert_eq!(code, Some(0));
    assert!(text.contains("      30,521.22       32,026.25        1,505.03\n"), "{text}");
    // The months of a year, each at the price of its days, add up to the year.
    let year = json(&works, &["--from", "2018-01-01", "--to", "2018-12-31", "--at", "config/tariffs/own.toml"]);
    assert_eq!((year["months"].as_array().map(Vec::len), &year["total"]["difference"]), (Some(12), &"0.000000".into()));

    works.file("offer.toml", &offer.replace("KRW", "EUR"));
    let (code, _, error) = bill(&works, &days);
    assert_eq!(code, Some(2));
    assert!(error.contains("offer.toml:4:12: tariff \"offer\": the tariff is in EUR"), "{error}");
    works.file("offer.toml", "");
    assert!(bill(&works, &days).2.contains("offer.toml:1:1: there is no [[tariff]]"));
    let absent = bill(&works, &["2018-01", "--at", "absent.toml"]).2;
    assert!(absent.starts_with("error: absent.toml: there is no such file"), "{absent}");
}

/// The works has no press meter, so that nothing is shared out and all of the bill is nobody's.
#[test]
fn the_shares_of_a_bill_are_printed_as_text_json_and_csv() {
    let works = of_works();
    let (code, text, _) = bill(&works, &["2018-01", "--shares", "press"]);
    assert_eq!(code, Some(0));
    let total = "  total              126,238.3     12,623.83      3,062.80      1,568.66     17,255.29\n";
    assert!(text.ends_with(total), "{text}");
    assert_eq!(json(&works, &["2018-01", "--shares", "job"])["rows"][1]["total"], "17255.291900");
    let (_, csv, _) = bill(&works, &["2018-01", "--shares", "station", "--csv"]);
    let row = "126238.290000,12623.829000,3062.800000,1568.662900,17255.291900";
    assert_eq!(csv, format!("name,kwh,energy,demand,other,total\nnot shared out,{row}\ntotal,{row}\n"));
}

/// The synthetic press of `tests/reference/mv_synthetic`: what it avoided is that of its `expected.json`; at 0.25 for a kWh it is
/// worth two and a half times of what it is at 0.10.
#[test]
fn what_was_avoided_is_priced_again_by_the_tariffs_of_a_file() {
    let press = Press::with(&["baseline_daily.csv", "reporting_daily.csv"]);
    freeze(&press, &[]);
    let flat = |price: &str| {
        format!(
            "[[tariff]]\nname = \"flat\"\nvalid_from = 2023-01-01\ncurrency = \"EUR\"\nsource = \"test\"\n\
             [[tariff.band]]\nname = \"all\"\nprice = {price}\n"
        )
    };
    std::fs::create_dir_all(press.path().join("config/tariffs")).expect("a folder");
    std::fs::write(press.path().join("config/tariffs/own.toml"), flat("0.10")).expect("written");
    std::fs::write(press.path().join("offer.toml"), flat("0.25")).expect("written");
    let days = ["bill", "--from", "2024-02-01", "--to", "2024-04-30", "--at", "offer.toml"];
    let output = press.run(&[&days[..], &["--json"]].concat());
    let found: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let saving = &found["savings"][0];
    let value = |name: &str| -> f64 { saving[name].as_str().expect("a text").parse().expect("a number") };
    let avoided = number(&crate::baseline::expected()["daily"]["avoided_energy_kwh"]);
    assert!((value("avoided_kwh") / avoided - 1.0).abs() < 1e-6, "{saving}");
    assert!((value("now") / (avoided * 0.10) - 1.0).abs() < 1e-6, "{saving}");
    assert!((value("then") / (avoided * 0.25) - 1.0).abs() < 1e-6, "{saving}");
    let text = String::from_utf8(press.run(&days).stdout).expect("text");
    assert!(text.contains("  p1, 40,922 kWh                 4,092.21       10,230.53        6,138.32\n"), "{text}");
}
