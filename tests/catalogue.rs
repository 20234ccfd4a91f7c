//! The catalogue's data files: complete as shipped, and every mistake named by file and line.

use std::{collections::BTreeSet, fs, path::Path};

use coldtrap::catalogue::{Catalogue, Mistake, SourceFile, ToolState, parse, source};

/// The files of the catalogue as shipped.
pub(crate) fn files() -> Vec<SourceFile> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("seed-data/catalogue");
    let mut files = Vec::new();
    for (folder, prefix) in [(root.clone(), ""), (root.join("checks"), "checks/")] {
        for entry in fs::read_dir(folder).expect("the folder") {
            let path = entry.expect("an entry").path();
            if path.is_file() {
                let name = path.file_name().and_then(|n| n.to_str()).expect("a name");
                files.push(SourceFile {
                    path: format!("{prefix}{name}"),
                    text: fs::read_to_string(&path).expect("text"),
                });
            }
        }
    }
    files
}

/// The mistakes after replacing the first `from` of a file, and the line it stood in.
fn broken(path: &str, from: &str, to: &str) -> (Vec<Mistake>, usize) {
    let mut files = files();
    let file = files
        .iter_mut()
        .find(|file| file.path == path)
        .expect("the file");
    let at = file
        .text
        .find(from)
        .unwrap_or_else(|| panic!("no {from:?} in {path}"));
    let line = 1 + file.text[..at].matches('\n').count();
    file.text = file.text.replacen(from, to, 1);
    let mistakes = parse(&files).expect_err("a broken catalogue is refused").0;
    (mistakes, line)
}

#[test]
fn a_half_life_is_a_setting_of_the_catalogue_and_none_by_default() {
    assert_eq!(parse(&files()).expect("as shipped").half_life_days(), None);
    let mut files = files();
    files.retain(|file| file.path != "settings.toml");
    assert_eq!(parse(&files).expect("no settings").half_life_days(), None);
    files.push(SourceFile {
        path: "settings.toml".to_owned(),
        text: "# Two years.\nhalf_life_days = 730\n".to_owned(),
    });
    let set = parse(&files).expect("a half-life");
    assert_eq!(set.half_life_days(), Some(730.0));
    let (mistakes, line) = broken(
        "settings.toml",
        "# half_life_days = 1460",
        "half_life_days = -1",
    );
    assert_eq!(
        mistakes[0].to_string(),
        format!("settings.toml, line {line}: half_life_days is -1; accepted is 1 to 36500")
    );
}

#[test]
fn each_mistake_names_its_file_and_line() {
    let cases = [
        ("causes.toml", "kind = \"air-leak\"", "kind = \"bad-luck\""),
        (
            "causes.toml",
            "component = \"door-seal\"",
            "component = \"doorbell\"",
        ),
        ("causes.toml", "weight = ", "weight = -"),
        ("causes.toml", "fix_state = \"", "fix_state = \"half-"),
        ("causes.toml", "fix_minutes = ", "fix_minutes = -"),
        ("causes.toml", "residual-air = 0.75", "residual-air = 1.75"),
        ("causes.toml", "rise-linear = 0.75", "rise-crooked = 0.75"),
        (
            "classes.toml",
            "id = \"cryo-sputter\"",
            "id = \"Cryo Sputter\"",
        ),
        (
            "classes.toml",
            "id = \"cryo-sputter\"",
            "id = \"cryo-evaporator\"",
        ),
        ("classes.toml", "volume_litres = 420", "volume_litres = 0"),
        ("signs.toml", "background = ", "backdrop = "),
        ("components.toml", "name = ", "nickname = "),
        (
            "checks/door-seal-inspection.md",
            "state = \"",
            "state = \"half-",
        ),
        (
            "checks/door-seal-inspection.md",
            "minutes = ",
            "minutes = -",
        ),
        (
            "checks/door-seal-inspection.md",
            "door-seal-particulate",
            "door-seal-gremlins",
        ),
        (
            "checks/overpressure-valve-inspection.md",
            "cryo-stop-and-purge",
            "cryo-hurry",
        ),
        (
            "checks/door-seal-inspection.md",
            "cautions = [\"",
            "cautions = [\"un",
        ),
    ];
    for (path, from, to) in cases {
        let (mistakes, line) = broken(path, from, to);
        assert!(
            mistakes
                .iter()
                .any(|mistake| mistake.path == path && mistake.line == line),
            "{path}: {from} -> {to}: line {line} is not among {mistakes:?}"
        );
    }
}

/// Minutes of a class are taken as far as the advice can use them, and refused in its numbers.
#[test]
fn minutes_beyond_use_are_refused_where_they_stand() {
    for (to, told) in [("vent = -15", "-15"), ("vent = 1000001", "1000001")] {
        let (mistakes, line) = broken("classes.toml", "vent = 15", to);
        assert_eq!(
            mistakes[0].to_string(),
            format!("classes.toml, line {line}: vent is {told}; accepted is 0 to 1000000")
        );
    }
}

#[test]
fn what_can_never_be_done_is_refused() {
    let (mistakes, _) = broken(
        "checks/cryo-stop-and-purge.md",
        "needs_first = [",
        "needs_first = [\"overpressure-valve-inspection\", ",
    );
    assert!(
        mistakes
            .iter()
            .any(|mistake| mistake.problem.contains("leads back")),
        "{mistakes:?}"
    );
    // A lock-out made on the vented tool has ended once the tool is pumped down.
    let (mistakes, line) = broken(
        "checks/change-review.md",
        "needs_first = [",
        "needs_first = [\"sputter-power-lock-out\"",
    );
    let told = |mistake: &Mistake| {
        mistake.line == line
            && mistake
                .problem
                .contains("it lasts only while the tool stays vented")
    };
    assert!(mistakes.iter().any(told), "{mistakes:?}");
    let mut missing = files();
    missing.retain(|file| file.path != "cautions.toml");
    let mistakes = parse(&missing).expect_err("a file is missing").0;
    assert!(
        mistakes
            .iter()
            .any(|mistake| mistake.path == "cautions.toml")
    );
}

/// What a service lead would miss if it were not there.
#[test]
fn every_system_of_the_trade_is_covered() {
    let catalogue: Catalogue = source::built_in().expect("as shipped");
    let components: BTreeSet<_> = catalogue
        .causes()
        .map(|cause| cause.component.as_str())
        .collect();
    for component in [
        "door-seal",
        "glove-box-door-seal",
        "combination-cathode-gauge",
        "convection-filament-gauge",
        "roughing-valve",
        "foreline-valve",
        "vent-valve",
        "cryo-purge-valve",
        "cryo-overpressure-valve",
        "gate-valve",
        "resistive-source-posts",
        "electron-beam-source",
        "sputter-source",
        "viewport",
        "chamber-light",
        "water-cooled-stage",
        "turbo-pump",
        "scroll-backing-pump",
        "rotary-vane-pump",
        "foreline",
        "roughing-line",
        "cryopump",
        "metal-seal-flanges",
        "bellows-feedthrough",
        "gas-line",
    ] {
        assert!(
            components.contains(component),
            "nothing can go wrong with {component}"
        );
    }
    let mended = |cause: &str| catalogue.cause(cause).expect("a cause").fix_state;
    assert_eq!(mended("gauge-cable-or-controller"), ToolState::Pumped);
    assert_eq!(mended("viewport-cracked"), ToolState::Vented);
    assert_eq!(mended("cryo-saturated"), ToolState::StoppedPurged);
    let (mistakes, _) = broken("causes.toml", "fix_state = \"vented\"\n", "");
    assert!(
        mistakes
            .iter()
            .any(|mistake| mistake.line > 0 && mistake.problem.contains("fix_state")),
        "{mistakes:?}"
    );
    for cause in catalogue.causes() {
        assert!(!cause.basis.is_empty(), "{} has no basis", cause.id);
    }
    let first = |check: &str| {
        catalogue
            .check(check)
            .unwrap_or_else(|| panic!("no check {check}"))
            .needs_first
            .iter()
            .map(|id| id.to_string())
            .collect::<Vec<_>>()
    };
    assert!(first("overpressure-valve-inspection").contains(&"cryo-stop-and-purge".to_owned()));
    for check in catalogue.checks() {
        let opens_a_cryopump = check.state == ToolState::StoppedPurged
            && check
                .needs_components
                .iter()
                .any(|component| component.as_str() == "cryopump");
        if opens_a_cryopump && check.id.as_str() != "cryo-stop-and-purge" {
            assert!(
                first(check.id.as_str()).contains(&"cryo-stop-and-purge".to_owned()),
                "{} opens a cryopump before it is stopped and purged",
                check.id
            );
        }
        assert!(!check.basis.is_empty(), "{} has no basis", check.id);
        // Whoever reaches into the chamber has the supplies of all its sources locked out first, not
        // only that of the source looked at; these are made from outside.
        let from_outside = [
            "cathode-gauge-cleaning",
            "chamber-light-inspection",
            "roughing-line-bore-inspection",
            "roughing-pump-ultimate-check",
            "vent-valve-inspection",
        ];
        let locks_out = check.id.as_str().ends_with("-lock-out");
        let reaches_in = check.state == ToolState::Vented
            && !locks_out
            && !from_outside.contains(&check.id.as_str());
        let locked_out = [
            "electron-beam-lock-out",
            "resistive-power-lock-out",
            "sputter-power-lock-out",
        ];
        if reaches_in {
            for lock_out in locked_out {
                let mut firsts = check.first();
                assert!(firsts.any(|id| id.as_str() == lock_out), "{}", check.id);
            }
            let mut cautions = check.cautions.iter();
            assert!(
                cautions.any(|id| id.as_str() == "high-voltage"),
                "{}",
                check.id
            );
        }
        // Its chamber has to be pumped down again, which the restart alone does not do.
        let vents = check
            .procedure
            .contains("chamber vented as part of this check");
        assert_eq!(check.vents, vents, "{}", check.id);
        // Those lock-outs are of the vented tool and have ended once the pump is stopped.
        if check.state == ToolState::StoppedPurged
            && let Some(at) = check.procedure.find("From the chamber side")
        {
            let before = &check.procedure[..at];
            let told =
                "prove dead the supplies of all sources in the chamber before a hand goes in";
            assert!(before.contains(told), "{}", check.id);
            let mut cautions = check.cautions.iter();
            assert!(cautions.any(|id| id.as_str() == "high-voltage"));
        }
        let words = check.procedure.to_lowercase();
        assert!(
            !words.contains("is safe"),
            "{} calls something safe",
            check.id
        );
    }
    assert!(catalogue.classes().count() == 6);
    for class in catalogue.classes() {
        let weight: f64 = catalogue
            .causes()
            .filter(|cause| class.components.contains(&cause.component))
            .map(|cause| cause.weight_in(&class.id))
            .sum();
        assert!(weight > 0.0, "{} starts without any belief", class.id);
    }
}

/// A check that leaves the tool vented, or its pump stopped, has an outcome there and then: what only
/// a pump-down tells is no part of it, since the order counts none, and none of it was to be seen on
/// a tool still pumped, since it stands in the middle of the others. One on the pumped tool opens nothing.
#[test]
fn outcomes_are_told_in_the_state_of_the_check() {
    const NOT_VENTED: [&str; 14] = [
        "recover",
        "falls to",
        "unchanged",
        "pump-down",
        "pumps as",
        "idle",
        "quiet",
        "holds cold",
        "base pressure",
        "foreline pressure",
        "rise test",
        "roughing time",
        "after it is",
        "no change",
    ];
    const NOT_PUMPED: [&str; 4] = ["knife edge", "recovery", "and recover", "another hose"];
    let catalogue = parse(&files()).expect("as shipped");
    for check in catalogue.checks() {
        let about = |words: &[&str], lines: &mut dyn Iterator<Item = &str>| {
            for line in lines {
                let line = line.to_lowercase();
                for word in words {
                    assert!(!line.contains(word), "{}: {line:?} says {word:?}", check.id);
                }
            }
        };
        let told = |line: &&str| line.starts_with("**Found**") || line.starts_with("**Clear**");
        let mut outcomes = check.procedure.lines().filter(told);
        if check.leaves != check.state {
            continue;
        }
        match check.state {
            ToolState::Pumped => about(&NOT_PUMPED, &mut outcomes),
            ToolState::Vented | ToolState::StoppedPurged => {
                about(&NOT_VENTED, &mut outcomes);
                about(
                    &["before venting", "still pumped"],
                    &mut check.procedure.lines(),
                );
            }
        }
    }
}
