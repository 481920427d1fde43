//! The emulated modules: their sheets, their chips, their backing files, and how QEMU brings them up.

use crate::judge::{Family, Layout};
use crate::support::fitted::Start;
use crate::support::qemu::{MUSICPAL_BYTES, QemuFlash, VIRT_BYTES, VirtFlash};
use buswright::bus::Width;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering::Relaxed};

const KIB: u32 = 1 << 10;

/// A kind of module.
#[derive(Clone)]
pub struct Kind {
    pub name: &'static str,
    pub family: Family,
    pub width: Width,
    /// Sectors of each chip.
    pub layout: Layout,
    /// The supply in millivolts.
    pub rail_mv: u16,
    /// Bytes of the module.
    pub bytes: usize,
    /// Backing files, each of one QEMU, that on the lowest data lines first.
    pub files: usize,
    /// The chip file that is needed, if the built-in list leaves a doubt.
    pub chip_file: Option<String>,
    /// The emulated part has these sectors instead of even ones.
    boot: bool,
    /// From the next supply on parts of the Intel family fail every erase and program.
    pub read_only: Arc<AtomicBool>,
}

impl Kind {
    /// Two parts of the Intel family in one QEMU. The query table says 32 MiB and 4.5 to 5.5 V, and
    /// a real part with the same ids has 16 MiB: the chip file settles which it is.
    pub fn intel() -> Self {
        Self {
            name: "EF-32",
            family: Family::Intel,
            width: Width::W32,
            layout: vec![(256, 128 * KIB)],
            rail_mv: 5000,
            bytes: VIRT_BYTES,
            files: 1,
            chip_file: Some(chip_file(("0x89", "0x18"), "32M", "256 x 128K", "family = \"intel\"")),
            boot: false,
            read_only: Arc::default(),
        }
    }

    /// One part of the AMD family.
    pub fn amd() -> Self {
        Self {
            name: "EF-16",
            family: Family::Amd,
            width: Width::W16,
            layout: vec![(128, 64 * KIB)],
            rail_mv: 3300,
            bytes: MUSICPAL_BYTES,
            files: 1,
            chip_file: None,
            boot: false,
            read_only: Arc::default(),
        }
    }

    /// Two parts of the AMD family, each in a QEMU of its own.
    pub fn pair() -> Self {
        let (bytes, files) = (2 * MUSICPAL_BYTES, 2);
        Self { name: "EF-32A", width: Width::W32, bytes, files, ..Self::amd() }
    }

    /// One part of the AMD family with boot sectors. Its query table is of a version that cannot
    /// tell which end its list starts from, so the chip file does, with further keys in `more`.
    pub fn boot(layout: Layout, more: &str) -> Self {
        let listed: Vec<_> =
            layout.iter().map(|(count, bytes)| format!("{count} x {}K", bytes / KIB)).collect();
        let keys = format!("family = \"amd\"\n{more}");
        let chip_file = chip_file(("0xBF", "0x236D"), "8M", &listed.join(", "), &keys);
        Self { layout, chip_file: Some(chip_file), boot: true, ..Self::amd() }
    }

    /// How each QEMU is started on its backing file.
    pub fn starts(&self, files: &[PathBuf]) -> Vec<Start> {
        let start = |file: &PathBuf| -> Start {
            let (file, family, boot, layout) =
                (file.clone(), self.family, self.boot, self.layout.clone());
            let read_only = Arc::clone(&self.read_only);
            Box::new(move || match family {
                Family::Intel if read_only.load(Relaxed) => QemuFlash::virt_read_only(&file),
                Family::Intel => QemuFlash::virt(&file, VirtFlash::First),
                Family::Amd if boot => QemuFlash::musicpal_with_sectors(&file, &layout),
                Family::Amd => QemuFlash::musicpal(&file),
            })
        };
        files.iter().map(start).collect()
    }

    /// The module sheet.
    pub fn sheet(&self) -> String {
        let Self { name, rail_mv, width, .. } = self;
        let (words, bits) = (self.bytes / width.bytes(), width.bits());
        let chips: Vec<_> = (0..bits / 16)
            .map(|n| format!("{{ ref = \"U{}\", lane = \"D{}-D{}\" }}", n + 1, 16 * n, 16 * n + 15))
            .collect();
        let (chips, lines) = (chips.join(", "), words.trailing_zeros());
        let family = if self.family == Family::Intel { "intel" } else { "amd" };
        format!(
            "format = 1\nname = \"{name}\"\ntitle = \"Emulated flash\"\nrail_mv = {rail_mv}\n\
             address_lines = {lines}\n[[space]]\nname = \"store\"\nkind = \"flash\"\n\
             family = \"{family}\"\nwidth = {bits}\nwords = {words}\nselect = {{ CS0 = \"low\" }}\n\
             chips = [{chips}]\n"
        )
    }

    /// The bench with its adapter, without a module of its own, and further text.
    pub fn bench(&self, label: &str, more: &str) -> String {
        let Self { name, rail_mv, .. } = self;
        format!(
            "format = 1\nsheet = \"{name}\"\nspecimen = \"{label}\"\nboard = \"bench two\"\n\
             [adapter]\nrails_mv = [{rail_mv}]\n{more}"
        )
    }

    /// The first byte and the bytes of each sector of the module.
    pub fn sectors(&self) -> Vec<(usize, usize)> {
        let lanes = self.width.bytes() / 2;
        let mut first = 0;
        let sizes = self.layout.iter().flat_map(|&(count, bytes)| vec![bytes; count as usize]);
        sizes
            .map(|bytes| {
                let sector = (first, bytes as usize * lanes);
                first += sector.1;
                sector
            })
            .collect()
    }
}

fn chip_file((maker, device): (&str, &str), size: &str, sectors: &str, more: &str) -> String {
    format!(
        "[[chip]]\nname = \"Emulated part\"\nmaker = {maker}\ndevice = [{device}]\nbus = \"x16\"\n\
         size = \"{size}\"\nsectors = \"{sectors}\"\n{more}\nsource = \"measured with QEMU\"\n"
    )
}
