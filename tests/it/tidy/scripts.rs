//! What the shell itself sets is no option of a script: with a terminal, bash writes the height of the window into `LINES`.

use std::path::Path;

/// Variables that bash changes by itself (its manual, "Bash Variables").
const SET_BY_BASH: [&str; 6] = ["LINES", "COLUMNS", "SECONDS", "RANDOM", "REPLY", "OPTIND"];

/// The variables of that kind that a script reads; comments do not count.
fn read_by(script: &str) -> Vec<&'static str> {
    let code = script.lines().filter(|line| !line.trim_start().starts_with('#'));
    let code: Vec<&str> = code.collect();
    let is_read = |name: &&str| {
        let forms = [format!("${name}"), format!("${{{name}")];
        code.iter()
            .any(|line| forms.iter().any(|form| line.contains(form)))
    };
    SET_BY_BASH.into_iter().filter(is_read).collect()
}

#[test]
fn no_script_takes_what_the_shell_sets_for_an_option() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("scripts");
    let mut count = 0;
    for item in std::fs::read_dir(folder).unwrap() {
        let path = item.unwrap().path();
        let found = read_by(&std::fs::read_to_string(&path).unwrap());
        assert!(found.is_empty(), "{}: {found:?}", path.display());
        count += 1;
    }
    assert!(count > 5, "{count} scripts");
    assert_eq!(read_by("# $LINES\n[[ \" ${LINES:-x} \" == y ]]"), ["LINES"]);
}
