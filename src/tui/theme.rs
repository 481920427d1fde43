//! Themes: a style for each role, read from TOML.

use ratatui::style::{Color, Modifier, Style};
use serde::Deserialize;
use std::path::Path;

const BUILT_IN: [(&str, &str); 5] = [
    ("dark", include_str!("../../themes/dark.toml")),
    ("light", include_str!("../../themes/light.toml")),
    ("contrast", include_str!("../../themes/contrast.toml")),
    ("clear", include_str!("../../themes/clear.toml")),
    ("mono", include_str!("../../themes/mono.toml")),
];

/// A style for each role.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Theme {
    pub text: Style,
    pub quiet: Style,
    pub title: Style,
    pub focus: Style,
    pub rule: Style,
    pub key: Style,
    pub safe: Style,
    pub danger: Style,
    pub caution: Style,
    pub simulated: Style,
    pub good: Style,
    pub trouble: Style,
    pub sure: Style,
    pub half: Style,
    pub cursor: Style,
    pub changed: Style,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    #[expect(dead_code, reason = "the file says it for people")]
    name: String,
    style: Roles,
}

#[derive(Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
struct Roles {
    text: Role,
    quiet: Role,
    title: Role,
    focus: Role,
    rule: Role,
    key: Role,
    safe: Role,
    danger: Role,
    caution: Role,
    simulated: Role,
    good: Role,
    trouble: Role,
    sure: Role,
    half: Role,
    cursor: Role,
    changed: Role,
}

#[derive(Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
#[expect(clippy::struct_excessive_bools, reason = "that is what a terminal can do")]
struct Role {
    fg: Option<Named>,
    bg: Option<Named>,
    bold: bool,
    dim: bool,
    underlined: bool,
    reversed: bool,
}

/// A colour by name, number of the palette, or #RRGGBB.
struct Named(Color);

impl<'de> Deserialize<'de> for Named {
    fn deserialize<D: serde::Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let text = String::deserialize(from)?;
        text.parse().map(Self).map_err(|_| serde::de::Error::custom(format!("no colour: {text}")))
    }
}

impl Role {
    fn style(&self) -> Style {
        let colour = |named: &Option<Named>| named.as_ref().map(|named| named.0);
        let mut style = Style { fg: colour(&self.fg), bg: colour(&self.bg), ..Style::default() };
        for (on, modifier) in [
            (self.bold, Modifier::BOLD),
            (self.dim, Modifier::DIM),
            (self.underlined, Modifier::UNDERLINED),
            (self.reversed, Modifier::REVERSED),
        ] {
            if on {
                style = style.add_modifier(modifier);
            }
        }
        style
    }
}

impl Theme {
    /// Reads a theme; `file` is only named in errors.
    pub fn parse(file: &str, text: &str) -> Result<Self, String> {
        let read: File = crate::notation::read(text).map_err(|error| {
            let line = error.span().map_or(0, |span| {
                text.get(..span.start).map_or(0, |before| before.matches('\n').count() + 1)
            });
            format!("theme {file}:{line}: {}", error.message())
        })?;
        let roles = read.style;
        Ok(Self {
            text: roles.text.style(),
            quiet: roles.quiet.style(),
            title: roles.title.style(),
            focus: roles.focus.style(),
            rule: roles.rule.style(),
            key: roles.key.style(),
            safe: roles.safe.style(),
            danger: roles.danger.style(),
            caution: roles.caution.style(),
            simulated: roles.simulated.style(),
            good: roles.good.style(),
            trouble: roles.trouble.style(),
            sure: roles.sure.style(),
            half: roles.half.style(),
            cursor: roles.cursor.style(),
            changed: roles.changed.style(),
        })
    }

    /// A built-in theme by name, or one from a file.
    pub fn load(wanted: &str) -> Result<Self, String> {
        if let Some((name, text)) = BUILT_IN.iter().find(|(name, _)| *name == wanted) {
            return Self::parse(name, text);
        }
        let names: Vec<_> = BUILT_IN.iter().map(|(name, _)| *name).collect();
        let text = std::fs::read_to_string(Path::new(wanted)).map_err(|error| {
            format!("theme {wanted}: {error}; built in are {}, or name a file", names.join(", "))
        })?;
        Self::parse(wanted, &text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_built_in_theme_can_be_read_and_mono_has_no_colour() {
        for (name, _) in BUILT_IN {
            let theme = Theme::load(name).unwrap();
            assert_ne!(theme.danger, theme.safe, "{name}: on and off look alike");
            assert_ne!(theme.cursor, theme.text, "{name}");
        }
        let mono = Theme::load("mono").unwrap();
        for style in [mono.danger, mono.safe, mono.caution, mono.simulated, mono.key, mono.title] {
            assert_eq!((style.fg, style.bg), (None, None));
        }
    }

    #[test]
    fn a_wrong_theme_names_line_and_key() {
        let said = |text| Theme::parse("x.toml", text).unwrap_err();
        let text = said("name = \"x\"\n[style]\nsafe = { fg = \"greenish\" }\n");
        assert!(text.contains("x.toml:3") && text.contains("greenish"), "{text}");
        let text = said("name = \"x\"\n[style]\nsaef = {}\n");
        assert!(text.contains("saef"), "{text}");
        assert!(Theme::load("no-such").unwrap_err().contains("built in are dark, light"));
    }
}
