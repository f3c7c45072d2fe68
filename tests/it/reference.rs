//! The files of `tests/reference`: each is read by a test, and the page beside them says where it comes from.

use std::fs;
use std::path::{Path, PathBuf};

/// A folder of which one test holds every file against what it makes, a file too many included: `report/golden.rs`.
const COMPARED_WHOLE: &str = "golden";

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn files(folder: &Path) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder).unwrap_or_else(|error| panic!("{}: {error}", folder.display()));
    let paths = entries.map(|entry| entry.expect("an entry").path());
    paths.flat_map(|path| if path.is_dir() { files(&path) } else { vec![path] }).collect()
}

/// The sources that may read a file of the reference, without their comments.
fn sources() -> Vec<String> {
    let all = ["src", "tests/it"].into_iter().flat_map(|folder| files(&root().join(folder)));
    let own = Path::new(file!()).file_name();
    let code = |path: PathBuf| {
        let text = fs::read_to_string(path).expect("a source");
        text.lines().filter(|line| !line.trim_start().starts_with("//")).collect::<Vec<_>>().join("\n")
    };
    all.filter(|path| path.extension().is_some_and(|end| end == "rs") && path.file_name() != own).map(code).collect()
}

/// Whether a source names a file: at the end of a text, or its stem as a text with its ending as another, as a macro
/// joins them.
fn names(source: &str, path: &Path) -> bool {
    let part = |part: Option<&std::ffi::OsStr>| part.and_then(|part| part.to_str()).expect("a name").to_owned();
    let (name, stem, end) = (part(path.file_name()), part(path.file_stem()), part(path.extension()));
    let whole = [format!("/{name}\""), format!("\"{name}\"")].iter().any(|text| source.contains(text));
    whole || (source.contains(&format!("\"{stem}\"")) && source.contains(&format!("\".{end}\"")))
}

#[test]
fn every_reference_file_is_read_by_a_test_and_has_its_source_on_the_page_beside() {
    let folder = root().join("tests/reference");
    let page = fs::read_to_string(folder.join("README.md")).expect("a page");
    let (sources, mut faults) = (sources(), Vec::new());
    for path in files(&folder) {
        let place = path.strip_prefix(&folder).expect("below it").to_owned();
        let within = place.parent().and_then(|parent| parent.to_str()).filter(|parent| !parent.is_empty());
        let name = place.file_name().and_then(|name| name.to_str()).expect("a name");
        if name == "README.md" {
            continue;
        }
        if within != Some(COMPARED_WHOLE) && !sources.iter().any(|source| names(source, &path)) {
            faults.push(format!("{} is read by no test", place.display()));
        }
        let told = page.contains(name) || within.is_some_and(|folder| page.contains(&format!("| {folder}/ |")));
        if !told {
            faults.push(format!("README.md does not say where {} comes from", place.display()));
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}
