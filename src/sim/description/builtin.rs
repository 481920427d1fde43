//! The built-in benches.

use super::BenchDescription;

const BENCHES: [(&str, &str); 3] = [
    ("TG-7", include_str!("../benches/tg-7.toml")),
    ("TG-7b", include_str!("../benches/tg-7b.toml")),
    ("TG-7c", include_str!("../benches/tg-7c.toml")),
];

pub(super) fn find(name: &str) -> Option<BenchDescription> {
    let (name, text) = BENCHES.iter().find(|(known, _)| *known == name)?;
    BenchDescription::parse(name, text).ok()
}

pub(super) fn names() -> impl Iterator<Item = &'static str> {
    BENCHES.iter().map(|(name, _)| *name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_built_in_bench_can_be_made() {
        for (name, text) in BENCHES {
            let description = BenchDescription::parse(name, text).unwrap();
            assert_eq!(description.adapter.board, format!("bench:{name}"));
            assert!(find(name).is_some());
        }
        assert_eq!(names().collect::<Vec<_>>(), ["TG-7", "TG-7b", "TG-7c"]);
    }
}
