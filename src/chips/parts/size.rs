//! Sizes and lists of sectors as people write them.

use crate::chips::Region;

/// `64K`, `2M` or plain bytes; `None` for anything else, and for nothing at all.
pub(super) fn size(text: &str) -> Option<u64> {
    let (digits, unit) = match text.strip_suffix('K') {
        Some(digits) => (digits, 1 << 10),
        None => text.strip_suffix('M').map_or((text, 1), |digits| (digits, 1 << 20)),
    };
    number(digits)?.checked_mul(unit)
}

/// `8 x 16K, 1 x 32K`, in address order; `None` for anything else.
pub(super) fn sectors(text: &str) -> Option<Vec<Region>> {
    let one = |region: &str| {
        let (count, bytes) = region.split_once(" x ")?;
        let count = u32::try_from(number(count.trim())?).ok()?;
        Some(Region { count, bytes: size(bytes.trim())? })
    };
    text.split(',').map(one).collect()
}

/// Decimal digits only, and not zero.
fn number(digits: &str) -> Option<u64> {
    let plain = digits.bytes().all(|byte| byte.is_ascii_digit());
    digits.parse().ok().filter(|number| plain && *number > 0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chips::geometry::listed;

    #[test]
    fn sizes() {
        assert_eq!(size("128"), Some(128));
        assert_eq!(size("64K"), Some(65_536));
        assert_eq!(size("2M"), Some(2 << 20));
        for wrong in [
            "",
            "K",
            "0",
            "-1",
            "+1",
            "64 K",
            "64k",
            "1.5M",
            "99999999999999999999",
            "18446744073709551615M",
        ] {
            assert_eq!(size(wrong), None, "{wrong}");
        }
    }

    #[test]
    fn sector_lists() {
        let text = "1 x 16K, 2 x 8K, 1 x 32K, 31 x 64K";
        assert_eq!(listed(&sectors(text).unwrap()), text);
        for wrong in
            ["", "8", "8x16K", "8 x", "8 x 16K,", "0 x 16K", "4294967296 x 1", "8 x 16K; 1 x 1"]
        {
            assert_eq!(sectors(wrong), None, "{wrong}");
        }
    }
}
