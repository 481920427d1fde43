//! The paths in a Rust source, found in its tokens: comments and strings cannot look like one.

use proc_macro2::{Delimiter, TokenStream, TokenTree};

/// One path, each branch of a `use` group on its own.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Found {
    /// Its line in the source, from 1.
    pub line: usize,
    /// As written, with the group's prefix: `crate`, `bus`, `Word`; `*` for all names.
    pub written: Vec<String>,
    /// From the top of the crate, for a path that starts with `crate`, `self` or `super`.
    pub resolved: Option<Vec<String>>,
    /// True for `... as name`.
    pub renamed: bool,
}

/// Finds every path in `source`, which is the module `module` of its crate.
///
/// Paths inside macro calls and inline modules are found too; `Err` is a source that has no Rust
/// tokens.
pub fn paths(source: &str, module: &[String]) -> Result<Vec<Found>, String> {
    let tokens: TokenStream = source.parse().map_err(|error| format!("{error}"))?;
    let mut found = Vec::new();
    scan(tokens, module, &mut found);
    Ok(found)
}

/// Words that a path may follow without belonging to it: `use ::std::fs`.
const KEYWORDS: &[&str] = &[
    "as", "async", "await", "break", "const", "continue", "dyn", "else", "enum", "extern", "fn",
    "for", "if", "impl", "in", "let", "loop", "match", "mod", "move", "mut", "pub", "ref",
    "return", "static", "struct", "trait", "type", "unsafe", "use", "where", "while",
];

/// Scans items, bodies and arguments alike: everything that is not inside a path.
fn scan(tokens: TokenStream, module: &[String], found: &mut Vec<Found>) {
    let tokens: Vec<TokenTree> = tokens.into_iter().collect();
    let mut at = 0;
    while at < tokens.len() {
        match &tokens[at] {
            TokenTree::Ident(word) => {
                if let Some((name, body)) = inline_module(&tokens[at..]) {
                    let inner: Vec<String> = module.iter().cloned().chain([name]).collect();
                    scan(body, &inner, found);
                    at += 3;
                } else if KEYWORDS.iter().any(|keyword| word == keyword) {
                    at += 1;
                } else {
                    at += path(&tokens[at..], &[], module, found);
                }
            }
            TokenTree::Group(group) => {
                scan(group.stream(), module, found);
                at += 1;
            }
            _ => at += 1,
        }
    }
}

/// `mod name { body }`
fn inline_module(tokens: &[TokenTree]) -> Option<(String, TokenStream)> {
    match tokens {
        [TokenTree::Ident(word), TokenTree::Ident(name), TokenTree::Group(body), ..]
            if *word == "mod" && body.delimiter() == Delimiter::Brace =>
        {
            Some((name.to_string(), body.stream()))
        }
        _ => None,
    }
}

/// Takes the path at the head of `tokens`, below `prefix`; gives how many tokens it took.
fn path(
    tokens: &[TokenTree],
    prefix: &[String],
    module: &[String],
    found: &mut Vec<Found>,
) -> usize {
    let line = tokens[0].span().start().line;
    let mut written = prefix.to_vec();
    let mut at = 0;
    loop {
        match tokens.get(at) {
            Some(TokenTree::Ident(ident)) => written.push(ident.to_string()),
            Some(TokenTree::Punct(star)) if star.as_char() == '*' => written.push("*".to_string()),
            Some(TokenTree::Group(group)) if group.delimiter() == Delimiter::Brace => {
                let inner: Vec<TokenTree> = group.stream().into_iter().collect();
                for branch in inner.split(is_comma).filter(|branch| !branch.is_empty()) {
                    path(branch, &written, module, found);
                }
                return at + 1;
            }
            // `::<`: the arguments are scanned as what follows.
            _ => break,
        }
        at += 1;
        if !is_separator(&tokens[at..]) {
            break;
        }
        at += 2;
    }
    let renamed = matches!(tokens.get(at), Some(TokenTree::Ident(word)) if *word == "as");
    let resolved = resolve(&written, module);
    found.push(Found { line, written, resolved, renamed });
    at
}

fn is_comma(token: &TokenTree) -> bool {
    matches!(token, TokenTree::Punct(punct) if punct.as_char() == ',')
}

fn is_separator(tokens: &[TokenTree]) -> bool {
    matches!(tokens, [TokenTree::Punct(one), TokenTree::Punct(two), ..]
        if one.as_char() == ':' && two.as_char() == ':')
}

/// The path from the top of the crate; `None` where it starts with a name.
fn resolve(written: &[String], module: &[String]) -> Option<Vec<String>> {
    let mut from_top = match written.first()?.as_str() {
        "crate" => Vec::new(),
        "self" | "super" => module.to_vec(),
        _ => return None,
    };
    for segment in written {
        match segment.as_str() {
            "crate" | "self" => {}
            "super" => drop(from_top.pop()),
            name => from_top.push(name.to_string()),
        }
    }
    Some(from_top)
}
