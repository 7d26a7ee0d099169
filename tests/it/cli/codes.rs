//! Exit codes and JSON of each command but `audit` and `key`: 0 done or holds, 1 refused or does not hold, 2 cannot be
//! read or used.

use super::{Desk, pourbook, text, verify};
use crate::log::served::Served;
use serde_json::json;
use std::path::Path;

#[test]
fn every_command_has_help_with_an_example() {
    let told = pourbook(&["--help"]).ends(0, &[]).out;
    let listed = told
        .split("Commands:\n")
        .nth(1)
        .unwrap()
        .split("\n\n")
        .next()
        .unwrap();
    let listed = listed
        .lines()
        .filter(|line| line.starts_with("  ") && !line.starts_with("   "));
    let commands = listed.map(|line| line.split_whitespace().next().unwrap().to_owned());
    let mut commands: Vec<String> = commands.filter(|command| command != "help").collect();
    assert!(commands.len() > 30, "{commands:?}");
    for parted in [
        "token add",
        "token list",
        "token revoke",
        "key list",
        "key add",
        "key revoke",
        "key suspect",
        "key sign",
        "key record",
    ] {
        commands.push(parted.to_owned());
    }
    for command in commands {
        let mut words: Vec<&str> = command.split(' ').collect();
        words.push("--help");
        let outcome = pourbook(&words).ends(0, &["Usage:"]);
        let example = if command == "verify" {
            "  pourbook-verify TW".to_owned()
        } else {
            format!("  pourbook {command} ")
        };
        let parted = command == "key" || command == "key add" || command == "token";
        let example = if parted {
            format!("pourbook {}", &command[..3])
        } else {
            example
        };
        assert!(outcome.out.contains("Example"), "{command}: {}", outcome.out);
        assert!(outcome.out.contains(&example), "{command}: {}", outcome.out);
        let json = outcome.out.contains("--json");
        assert_eq!(json, outcome.out.contains("With --json"), "{command}");
    }
    pourbook(&["--help"]).ends(0, &["Exit code of every command", "pourbook demo"]);
    verify(&["--help"]).ends(0, &["--root", "Exit code"]);
    for shell in ["bash", "elvish", "fish", "powershell", "zsh"] {
        pourbook(&["completions", shell]).ends(0, &["pourbook", "audit"]);
    }
    pourbook(&["completions", "none"]).ends(2, &["possible values"]);
    pourbook(&["melt"]).ends(2, &["unrecognized subcommand"]);
}

#[test]
fn init_founds_refuses_and_cannot() {
    let desk = Desk::new();
    let book = desk.at("book");
    let init = |origin: &'static str, currency: &'static str| {
        pourbook(&[
            "init",
            &book,
            "--origin",
            origin,
            "--currency",
            currency,
            "--json",
        ])
    };
    init("book.example log", "GBP").ends(2, &["origin", "without scheme"]);
    init("book.example/log", "pounds").ends(2, &["currency", "ISO 4217"]);
    assert!(!Path::new(&book).exists(), "a slip founds nothing");
    let founded = init("book.example/log", "GBP").ends(0, &[]);
    assert_eq!(founded.members(), ["policy", "root"]);
    let before = text(&format!("{book}/policy"));
    init("other.example/log", "EUR").ends(1, &["there is a book at", "not touched"]);
    assert_eq!(text(&format!("{book}/policy")), before);
}

#[test]
fn demo_makes_refuses_and_cannot() {
    let desk = Desk::new();
    let book = desk.at("demo");
    let made = pourbook(&["demo", &book, "--json"]).ends(0, &[]);
    assert_eq!(made.members(), ["dir", "entries", "melts", "pieces", "remelted"]);
    pourbook(&["demo", &book]).ends(1, &["not touched"]);
    std::fs::write(desk.at("file"), "in the way").unwrap();
    pourbook(&["demo", &desk.at("file/demo")]).ends(2, &[]);
}

/// No command makes anything where there is no book, and each says how one is founded.
#[test]
fn a_folder_without_a_book_is_not_used() {
    let desk = Desk::new();
    let nowhere = desk.at("nowhere");
    let kid = "kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k";
    let operator = "47cb7ba0-ba75-4345-bc89-225410296a2b";
    for command in [
        vec!["serve", &nowhere],
        vec!["serve", &nowhere, "--links"],
        vec!["show", &nowhere],
        vec!["proof", &nowhere, "TW-0001-83"],
        vec!["audit", &nowhere],
        vec!["rebuild", &nowhere],
        vec!["plan", &nowhere, "--series", "TW"],
        vec!["token", "add", &nowhere, "--role", "bench"],
        vec!["token", "list", &nowhere],
        vec!["token", "revoke", &nowhere, operator],
        vec!["erase", &nowhere, "1", "0", "note", "--reason", "request"],
        vec!["key", "list", &nowhere],
        vec!["key", "add", &nowhere, "--role", "log", "--key", "k"],
        vec!["key", "revoke", &nowhere, kid],
        vec!["key", "suspect", &nowhere, kid, "--from", "1"],
    ] {
        pourbook(&command).ends(2, &["holds no book", "pourbook init"]);
        assert!(!Path::new(&nowhere).exists(), "{command:?}");
    }
}

#[test]
fn show_and_proof_read_a_book() {
    let desk = Desk::new();
    let book = desk.demo();
    pourbook(&["show", &book]).ends(0, &["428 entries", "27 pieces certified"]);
    assert_eq!(
        pourbook(&["show", &book, "--json"]).members(),
        ["pieces", "root_key", "size", "torn"]
    );
    let serials = pourbook(&["show", &book, "--serials", "--json"])
        .ends(0, &[])
        .json();
    assert_eq!(serials.as_array().unwrap().len(), 64);
    pourbook(&["show", &book, "tw 0001 83"]).ends(0, &["TW-0001-83", "pour number", "final", "g (entry "]);
    assert_eq!(
        pourbook(&["show", &book, "TW-0001-83", "--json"]).members(),
        ["entries", "piece"]
    );
    pourbook(&["show", &book, "--list", "series"]).ends(0, &["series TW, edition, "]);
    let series = pourbook(&["show", &book, "--list", "series", "--json"])
        .ends(0, &[])
        .json();
    assert_eq!(series[0]["code"], "TW");
    pourbook(&["show", &book, "--list", "spoons"]).ends(2, &["consignments", "refinings"]);
    pourbook(&["show", &book, "TW-0001-84"]).ends(2, &["check digits"]);
    pourbook(&["show", &book, "TW-9999-62"]).ends(1, &["no piece of this book has the serial"]);

    let file = desk.at("p.json");
    pourbook(&["proof", &book, "TW-0001-83", "-o", &file]).ends(0, &["entries", "bytes"]);
    let written = pourbook(&["proof", &book, "TW-0001-83", "-o", &file, "--json"]).ends(0, &[]);
    assert_eq!(written.members(), ["bytes", "entries", "file", "serial"]);
    let printed = pourbook(&["proof", &book, "TW-0001-83"]).ends(0, &[]);
    assert_eq!(printed.out, text(&file));
    pourbook(&["proof", &book, "TW-9999-62"]).ends(1, &["no piece"]);
    pourbook(&["proof", &book, "TW-0001-84"]).ends(2, &["check digits"]);
    pourbook(&["proof", &book, "TW-0001-83", "-o", &desk.at("no/where/p.json")]).ends(2, &["No such file"]);
    pourbook(&["proof", &book, "TW-0001-83", "--json"]).ends(2, &["--output"]);
}

#[test]
fn a_check_holds_does_not_hold_or_cannot_be_read() {
    let desk = Desk::new();
    let book = desk.demo();
    let file = desk.at("p.json");
    pourbook(&["proof", &book, "DW-0001-21", "-o", &file]).ends(0, &[]);
    let root = pourbook(&["show", &book, "--json"]).json()["root_key"]
        .as_str()
        .unwrap()
        .to_owned();
    let policy = format!("{book}/policy");
    let altered = desk.at("altered.json");
    std::fs::write(&altered, text(&file).replace("DW-0001-21", "DW-0002-18")).unwrap();
    let no_root = desk.at("no-root");
    std::fs::write(&no_root, "quorum none\n").unwrap();
    let bad_policy = desk.at("bad-policy");
    std::fs::write(&bad_policy, "# root kPrK\nquorum none\n").unwrap();
    let not_text = desk.at("not-text");
    std::fs::write(&not_text, [0xff, 0xfe]).unwrap();
    let stranger = "kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k";
    let missing = desk.at("missing.json");
    for program in [
        |words: &[&str]| verify(&words[1..]),
        |words: &[&str]| pourbook(words),
    ] {
        program(&["verify", &file, "--root", &root]).ends(0, &["holds", "The record of DW-0001-21 holds"]);
        program(&["verify", &file, "--policy", &policy]).ends(0, &["holds"]);
        let report = program(&["verify", &file, "--root", &root, "--json"]).ends(0, &[]);
        assert_eq!(report.members(), ["conclusion", "facts", "size", "steps"]);
        let bad = program(&["verify", &altered, "--root", &root, "--json"]);
        assert_eq!(
            (bad.code, &bad.json()["conclusion"]),
            (1, &json!("does_not_hold"))
        );
        let other = program(&["verify", &file, "--root", stranger]);
        assert_eq!(other.code, 1);
        assert!(other.out.contains("does not hold"), "{}", other.out);
        let hyphen = stranger.replacen('k', "-", 1);
        assert_eq!(
            program(&["verify", &file, "--root", &hyphen]).code,
            1,
            "a thumbprint may begin with a hyphen"
        );
        let read = program(&["verify", &policy, "--root", &root, "--json"]);
        assert_eq!((read.code, &read.json()["conclusion"]), (2, &json!("unreadable")));
        program(&["verify", &missing, "--root", &root]).ends(2, &["missing.json: No such file"]);
        program(&["verify", &file]).ends(2, &["--root"]);
        // A slip in the thumbprint is no verdict on the record.
        for slip in [
            "abc",
            &root[..42],
            &format!("{root}="),
            &root.replace(&root[..1], "/"),
        ] {
            program(&["verify", &file, "--root", slip]).ends(2, &["a root thumbprint has 43 characters"]);
        }
        let groups: Vec<&str> = (0..43).step_by(4).map(|at| &root[at..43.min(at + 4)]).collect();
        let typed = program(&["verify", &file, "--root", &groups.join(" ")]);
        assert_eq!(typed.code, 0, "in groups, as certificates print it");
        program(&["verify", &file, "--policy", &no_root]).ends(2, &["no `# root <thumbprint>` line"]);
        program(&["verify", &file, "--policy", &bad_policy])
            .ends(2, &["line 1 of the policy", "no thumbprint"]);
        program(&["verify", &file, "--policy", &not_text]).ends(2, &["not-text: a policy is UTF-8 text"]);
        program(&["verify", &file, "--policy", &policy, "--root", stranger]).ends(2, &["the policy says"]);
    }
}

#[test]
fn tokens_are_added_listed_and_revoked() {
    let desk = Desk::new();
    let book = desk.book();
    let added = pourbook(&[
        "token", "add", &book, "--role", "bench", "--name", "tablet", "--days", "90", "--json",
    ]);
    assert_eq!(added.members(), ["expires", "name", "operator", "role", "token"]);
    let added = added.json();
    let operator = added["operator"].as_str().unwrap();
    pourbook(&["token", "add", &book, "--role", "office"]).ends(0, &["pb_", "It is shown this once"]);
    pourbook(&["token", "add", &book, "--role", "owner"]).ends(2, &["bench, office, auditor, admin"]);
    pourbook(&["token", "add", &book, "--role", "bench", "--days", "0"]).ends(2, &["--days"]);
    let listed = pourbook(&["token", "list", &book, "--json"]).ends(0, &[]).json();
    let first = listed["tokens"][0].as_object().unwrap();
    let names: Vec<&str> = first.keys().map(String::as_str).collect();
    assert_eq!(
        names,
        ["expires", "name", "operator", "revoked", "role", "state"],
        "and nothing that lets in"
    );
    assert_eq!(first["state"], "in_force");
    pourbook(&["token", "list", &book]).ends(0, &[operator, "tablet", " days left", "no end"]);
    let revoked = pourbook(&["token", "revoke", &book, operator, "--json"]).ends(0, &[]);
    assert_eq!(
        revoked.json(),
        json!({"operator": operator, "revoked": 1, "index": null})
    );
    pourbook(&["token", "revoke", &book, operator]).ends(1, &["no token in force"]);
    pourbook(&["token", "revoke", &book, "tablet"]).ends(2, &["invalid value"]);
    pourbook(&["token", "list", &book]).ends(0, &["revoked"]);
    std::fs::write(format!("{book}/tokens.json"), "{").unwrap();
    pourbook(&["token", "list", &book]).ends(2, &["tokens.json"]);
}

/// Of commands that change the tokens at the same time none undoes another: each token is there, and the revoked one is revoked.
#[test]
fn tokens_are_changed_by_one_command_at_a_time() {
    let desk = Desk::new();
    let book = desk.book();
    let added = pourbook(&["token", "add", &book, "--role", "bench", "--json"]).json();
    let operator = added["operator"].as_str().unwrap();
    std::thread::scope(|scope| {
        for _ in 0..12 {
            scope.spawn(|| pourbook(&["token", "add", &book, "--role", "office"]).ends(0, &["pb_"]));
        }
        scope.spawn(|| pourbook(&["token", "revoke", &book, operator]).ends(0, &["1 revoked"]));
    });
    let listed = pourbook(&["token", "list", &book, "--json"]).json();
    let listed = listed["tokens"].as_array().unwrap();
    assert_eq!(listed.len(), 13);
    assert_eq!(listed[0]["state"], "revoked");
}

#[test]
fn erase_forgets_refuses_and_cannot() {
    let desk = Desk::new();
    let book = desk.demo();
    let erase = |index: &str, member: &str, more: &[&str]| {
        let mut words = vec!["erase", &book, index, "0", member, "--reason", "request"];
        words.extend(more);
        pourbook(&words)
    };
    erase("1", "note", &[]).ends(1, &["entry 1 has no private member note in its event 0"]);
    let lot = (0..428)
        .map(|index: u32| index.to_string())
        .find(|index| erase(index, "seller", &["--json"]).code == 0);
    let lot = lot.expect("a lot of the demo has a seller");
    erase(&lot, "seller", &[]).ends(1, &["already erased"]);
    let audited = pourbook(&["audit", &book, "--json"]).ends(0, &[]).json();
    assert_eq!((&audited["erased"], &audited["size"]), (&json!(3), &json!(429)));
    pourbook(&["erase", &book, &lot, "0", "seller", "--reason", "whim"])
        .ends(2, &["request, expired, mistake"]);
}

#[test]
fn a_book_that_is_served_is_not_changed_beside_the_server() {
    let desk = Desk::new();
    let book = desk.demo();
    assert_eq!(
        pourbook(&["rebuild", &book, "--json"]).ends(0, &[]).json(),
        json!({"entries": 428})
    );
    let served = Served::start(Path::new(&book));
    pourbook(&["rebuild", &book]).ends(1, &["already open"]);
    pourbook(&["erase", &book, "4", "0", "seller", "--reason", "request"]).ends(1, &["already open"]);
    pourbook(&["serve", &book, "--listen", "127.0.0.1:0"]).ends(2, &["already open"]);
    pourbook(&["show", &book]).ends(0, &["428 entries"]);
    pourbook(&["audit", &book]).ends(0, &["holds: 428 entries"]);
    let audited = pourbook(&["audit", &served.address, "--json"]).ends(0, &[]);
    assert_eq!(audited.json()["size"], 428);
    // Another book at an address that is taken.
    let other = desk.book();
    let taken = served.address.trim_start_matches("http://");
    pourbook(&["serve", &other, "--listen", taken]).ends(2, &["in use"]);
    served.stop();
    pourbook(&["rebuild", &book]).ends(0, &["428 entries"]);
}

#[test]
fn spot_prices_are_typed_or_read_from_a_file_and_stock_is_valued_by_them() {
    let desk = Desk::new();
    let book = desk.demo();
    let typed = [
        "--metal",
        "silver",
        "--price",
        "24.51 GBP",
        "--priced-at",
        "2026-10-01T12:00:00Z",
    ];
    let mut words = vec!["spot", &book];
    words.extend(typed);
    pourbook(&words).ends(0, &["price 1: recorded as entry"]);
    words[3] = "copper";
    pourbook(&words).ends(1, &["price 1: refused", "copper"]);
    let file = desk.at("prices.csv");
    let write = |text: &str| std::fs::write(&file, text).unwrap();
    let import = || pourbook(&["spot", &book, "--import", &file, "--json"]);
    write("metal,amount,currency,priced_at,source\nsilver,25.02,GBP,2026-10-02T12:00:00Z,the trade letter\n");
    let told = import().ends(0, &[]).json();
    assert!(told[0]["index"].is_u64(), "{told}");
    write("metal,amount,currency,priced_at,source\nsilver,25.02,GBP\n");
    import().ends(2, &["line 2: has 3 fields"]);
    write("silver,25.02,GBP,2026-10-02T12:00:00Z,\n");
    import().ends(2, &["the first line must be"]);
    write(
        "[{\"metal\": \"gold\", \"price\": {\"amount\": \"2610\", \"currency\": \"GBP\"}, \"priced_at\": \"2026-10-02T12:00:00Z\"}]",
    );
    import().ends(0, &[]);
    write("[]");
    import().ends(2, &["no price"]);
    pourbook(&["spot", &book]).ends(2, &["--import"]);

    let told = pourbook(&["stock", &book, "--json"]).ends(0, &[]).json();
    let silver = told["spots"]
        .as_array()
        .unwrap()
        .iter()
        .find(|used| used["metal"] == "silver")
        .unwrap();
    assert_eq!(silver["price"]["amount"], "25.02");
    assert!(told["lines"].as_array().unwrap().len() > 10);
    pourbook(&["stock", &book, "--making", "40"])
        .ends(0, &["spot of silver: 25.02 GBP", "in all", "Ask the insurer"]);
    pourbook(&["stock", &book, "--making=-1"]).ends(2, &["negative"]);
    pourbook(&["stock", &book, "--at", "99999"]).ends(2, &["99999"]);
    pourbook(&["stock", &desk.at("nothing")]).ends(2, &["holds no book"]);
}

/// On the third day a check was 0.07 g off: the demo weighs all of that session again.
#[test]
fn doubts_print_and_cannot() {
    let desk = Desk::new();
    let book = desk.demo();
    let told =
        pourbook(&["doubts", &book]).ends(0, &["0.07 g off", "would be another:", "weighed again in entry"]);
    let json = pourbook(&["doubts", &book, "--json"]).ends(0, &[]).json();
    let sessions = json.as_array().unwrap();
    assert_eq!(sessions.len(), told.out.matches("0.07 g off").count());
    let readings = sessions[0]["readings"].as_array().unwrap();
    for reading in readings {
        let name = reading["name"].as_str().unwrap();
        assert!(told.out.contains(name), "{name}: {}", told.out);
    }
    let suspect = format!(
        "{} readings are suspect, {} are to be weighed",
        readings.len(),
        sessions[0]["to_weigh"]
    );
    assert!(told.out.contains(&suspect), "{}", told.out);
    let session = sessions[0]["session"].as_str().unwrap();
    let one = pourbook(&["doubts", &book, "--session", session, "--json"]).ends(0, &[]);
    assert_eq!(one.json(), json!([sessions[0]]));
    let nobody = "11111111-1111-4111-8111-111111111111";
    pourbook(&["doubts", &book, "--session", nobody]).ends(1, &["there is no session 11111111"]);
    pourbook(&["doubts", &book, "--session", "first"]).ends(2, &["--session"]);
    pourbook(&["doubts", &desk.book()]).ends(0, &["No check of a scale failed."]);
    pourbook(&["doubts", &desk.at("nowhere")]).ends(2, &["holds no book"]);
}

#[test]
fn statement_and_losses_print_and_cannot() {
    let desk = Desk::new();
    let book = desk.at("demo");
    pourbook(&["demo", &book]).ends(0, &[]);
    let printed = pourbook(&["statement", &book, "--metal", "gold", "--at", "2026-03-31"]).ends(0, &[]);
    let wanted = [
        "gold, as of position ",
        "grams",
        "fine grams",
        "received",
        "  unmelted",
    ];
    assert!(
        wanted.iter().all(|wanted| printed.out.contains(wanted)),
        "{}",
        printed.out
    );
    let last = printed.out.trim_end().lines().last().unwrap().split_whitespace();
    assert_eq!(last.collect::<Vec<_>>(), ["difference", "0.00", "0.0000"]);
    let whole = pourbook(&["statement", &book, "--json"]).ends(0, &[]);
    assert_eq!(whole.members(), ["metals", "position", "recorded"]);
    for of_metal in whole.json()["metals"].as_array().unwrap() {
        assert_eq!(of_metal["difference"], json!({"mass": "0.00", "fine": "0.00"}));
    }
    let open = ["statement", &book, "--metal", "silver", "--open", "assay_loss"];
    let opened = pourbook(&open).ends(0, &["silver, assay_loss", "pour ", "pieces_hallmarked", "sum"]);
    let count = opened.out.lines().count() - 3;
    let opened = pourbook(&[&open[..], &["--json"]].concat()).ends(0, &[]);
    assert_eq!(opened.json()["items"].as_array().unwrap().len(), count);
    assert_eq!(opened.json()["movements"], count);
    let losses = pourbook(&["losses", &book]).ends(
        0,
        &[
            "usual: ",
            "unusually high",
            "jars emptied",
            "less than the readings explain",
        ],
    );
    assert!(
        losses
            .out
            .contains("mean 4393.9 ppm; nothing is usual before 10 melts, and there are 1"),
        "{}",
        losses.out
    );
    let told = pourbook(&["losses", &book, "--metal", "silver", "--json"]).ends(0, &[]);
    assert_eq!(told.members(), ["emptyings", "metals", "position", "recorded"]);
    pourbook(&["statement", &book, "--at", "99999"])
        .ends(2, &["position 99999 lies beyond the log, which ends at"]);
    pourbook(&["statement", &book, "--at", "tomorrow"]).ends(2, &["a day like"]);
    pourbook(&["statement", &book, "--metal", "iron"]).ends(2, &["must be silver, gold"]);
    pourbook(&["statement", &book, "--open", "heels"]).ends(2, &["--metal"]);
    pourbook(&["statement", &book, "--metal", "gold", "--open", "nonsense"]).ends(2, &["no heading"]);
    pourbook(&["losses", &desk.at("nowhere")]).ends(2, &["holds no book"]);
}
