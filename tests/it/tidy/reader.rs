//! Reads a source as far as the rules need: without comments and strings, without tests, function by function.

/// The source with the inside of comments, strings and character literals blanked; line breaks stay.
pub fn code(source: &str) -> String {
    let chars: Vec<char> = source.chars().collect();
    let mut out = String::with_capacity(source.len());
    let mut at = 0;
    while at < chars.len() {
        let end = match chars[at] {
            '/' if chars.get(at + 1) == Some(&'/') => line_end(&chars, at),
            '/' if chars.get(at + 1) == Some(&'*') => comment_end(&chars, at),
            '"' => string_end(&chars, at + 1),
            'r' if !in_word(&chars, at) => raw_string_end(&chars, at).unwrap_or(at),
            '\'' => char_end(&chars, at).unwrap_or(at),
            _ => at,
        };
        if end == at {
            out.push(chars[at]);
            at += 1;
        } else {
            out.extend(chars[at..end].iter().map(|c| if *c == '\n' { '\n' } else { ' ' }));
            at = end;
        }
    }
    out
}

fn is_word(c: char) -> bool {
    c.is_alphanumeric() || c == '_'
}

fn in_word(chars: &[char], at: usize) -> bool {
    at > 0
        && (is_word(chars[at - 1]) && chars[at - 1] != 'b'
            || at > 1 && is_word(chars[at - 2]) && is_word(chars[at - 1]))
}

fn line_end(chars: &[char], at: usize) -> usize {
    (at..chars.len())
        .find(|i| chars[*i] == '\n')
        .unwrap_or(chars.len())
}

fn comment_end(chars: &[char], at: usize) -> usize {
    let (mut i, mut depth) = (at, 0);
    while i + 1 < chars.len() {
        match (chars[i], chars[i + 1]) {
            ('/', '*') => {
                depth += 1;
                i += 1;
            }
            ('*', '/') => {
                depth -= 1;
                i += 1;
                if depth == 0 {
                    return i + 1;
                }
            }
            _ => {}
        }
        i += 1;
    }
    chars.len()
}

fn string_end(chars: &[char], from: usize) -> usize {
    let mut i = from;
    while i < chars.len() {
        match chars[i] {
            '\\' => i += 2,
            '"' => return i + 1,
            _ => i += 1,
        }
    }
    chars.len()
}

fn raw_string_end(chars: &[char], at: usize) -> Option<usize> {
    let hashes = chars[at + 1..].iter().take_while(|c| **c == '#').count();
    if chars.get(at + 1 + hashes) != Some(&'"') {
        return None;
    }
    let closes =
        |i: usize| chars[i] == '"' && chars[i + 1..].iter().take_while(|c| **c == '#').count() >= hashes;
    let close = (at + 2 + hashes..chars.len()).find(|i| closes(*i));
    Some(close.map_or(chars.len(), |i| i + 1 + hashes))
}

/// The end of a character literal; `None` if the mark opens a lifetime.
fn char_end(chars: &[char], at: usize) -> Option<usize> {
    if chars.get(at + 1) == Some(&'\\') {
        let close = (at + 3..chars.len()).find(|i| chars[*i] == '\'')?;
        return Some(close + 1);
    }
    (chars.get(at + 2) == Some(&'\'')).then_some(at + 3)
}

/// Blanks each item behind `#[cfg(test)]`, and with `macros` each body of a declarative macro; with the number of lines
/// so taken out.
pub fn without(code: &str, opening: &str) -> (String, usize) {
    let mut rest = code;
    let (mut out, mut lines) = (String::new(), 0);
    while let Some(start) = rest.find(opening) {
        let (before, item) = rest.split_at(start);
        let end = item_end(item);
        let (item, after) = item.split_at(end);
        out.push_str(before);
        out.extend(item.chars().map(|c| if c == '\n' { '\n' } else { ' ' }));
        lines += item.matches('\n').count() + 1;
        rest = after;
    }
    out.push_str(rest);
    (out, lines)
}

/// The end of the item that begins `code`: its closing brace, or its semicolon if none opens before.
fn item_end(code: &str) -> usize {
    match code.find(['{', ';']) {
        Some(at) if code[at..].starts_with('{') => block_end(code, at),
        Some(at) => at + 1,
        None => code.len(),
    }
}

fn block_end(code: &str, open: usize) -> usize {
    let mut depth = 0;
    for (at, c) in code[open..].char_indices() {
        match c {
            '{' => depth += 1,
            '}' => depth -= 1,
            _ => {}
        }
        if depth == 0 {
            return open + at + 1;
        }
    }
    code.len()
}

/// The words of a code and where each begins.
pub fn words(code: &str) -> impl Iterator<Item = (usize, &str)> {
    code.split(|c: char| !is_word(c))
        .filter(|word| !word.is_empty())
        .map(move |word| {
            let at = word.as_ptr() as usize - code.as_ptr() as usize;
            (at, word)
        })
}

/// Each function: its name and how many lines of its body hold code.
pub fn functions(code: &str) -> Vec<(String, usize)> {
    let mut found = Vec::new();
    let all: Vec<(usize, &str)> = words(code).collect();
    for pair in all.windows(2) {
        let [(_, "fn"), (at, name)] = pair else { continue };
        let signature = &code[*at..];
        // A semicolon within brackets is the length of an array, not the end of a declaration.
        let mut depth = 0;
        let mut length = 0;
        for (place, c) in signature.char_indices() {
            match c {
                '(' | '[' => depth += 1,
                ')' | ']' => depth -= 1,
                ';' if depth == 0 => break,
                '{' if depth == 0 => {
                    let body = &signature[place + 1..block_end(signature, place) - 1];
                    length = body.lines().filter(|line| !line.trim().is_empty()).count();
                    break;
                }
                _ => {}
            }
        }
        found.push(((*name).to_owned(), length));
    }
    found
}

/// The paths that a code names, as lists of words; a group is taken apart: `a::{b, c::d}` names `a::b` and `a::c::d`.
pub fn paths(code: &str) -> Vec<Vec<String>> {
    let compact = compact(code);
    let mut found = Vec::new();
    let mut end = 0;
    for (at, word) in words(&compact) {
        if at < end || !compact[at + word.len()..].starts_with("::") {
            continue;
        }
        let (paths, length) = path(&compact[at..]);
        end = at + length;
        found.extend(paths);
    }
    found
}

/// Without the white space around `::`, braces and commas.
fn compact(code: &str) -> String {
    let mut out = String::new();
    let mut waiting = false;
    for c in code.chars() {
        if c.is_whitespace() {
            waiting = true;
            continue;
        }
        if waiting && is_word(c) && out.ends_with(is_word) {
            out.push(' ');
        }
        waiting = false;
        out.push(c);
    }
    out
}

fn path(code: &str) -> (Vec<Vec<String>>, usize) {
    let mut so_far: Vec<String> = Vec::new();
    let mut at = 0;
    loop {
        let length = code[at..].find(|c| !is_word(c)).unwrap_or(code.len() - at);
        if length > 0 {
            so_far.push(code[at..at + length].to_owned());
            at += length;
        } else if code[at..].starts_with('{') {
            let (groups, length) = group(&code[at..]);
            let join = |group: Vec<String>| so_far.iter().cloned().chain(group).collect();
            return (groups.into_iter().map(join).collect(), at + length);
        } else {
            return (vec![so_far], at);
        }
        if !code[at..].starts_with("::") {
            return (vec![so_far], at);
        }
        at += 2;
    }
}

fn group(code: &str) -> (Vec<Vec<String>>, usize) {
    let mut found = Vec::new();
    let mut at = 1;
    while at < code.len() && !code[at..].starts_with('}') {
        let (paths, length) = path(&code[at..]);
        if length == 0 {
            at += code[at..].chars().next().map_or(1, char::len_utf8);
        } else {
            found.extend(paths);
            at += length;
        }
    }
    (found, at + 1)
}
