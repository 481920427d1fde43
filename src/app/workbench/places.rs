//! Ports and images that there are.

use super::snapshot::SpaceFacts;
use crate::app::image::{BACK, ImageName, kept_image, open_image};
use crate::app::sheets::load_sheet;
use crate::app::unsettled::is_of_mixture;
use crate::image::in_keys;
use crate::jobs::BLANK;
use crate::module::parse_range;
use crate::shelf::{Label, OsDisk, Shelf, Summary};
use serialport::SerialPortType;
use std::path::Path;
use std::sync::Arc;

/// A port, or an image, for the list of a dialog.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ListLine {
    /// As it is named.
    pub name: String,
    /// What is known of it.
    pub about: String,
}

/// The simulated bench and every serial port that the system knows.
pub fn port_lines() -> Vec<ListLine> {
    let plain = |text: &str| text.chars().filter(|c| !c.is_control()).collect::<String>();
    let mut lines = vec![ListLine { name: "sim".into(), about: "simulated bench".into() }];
    for port in serialport::available_ports().unwrap_or_default() {
        let about = match &port.port_type {
            SerialPortType::UsbPort(usb) => {
                let product = usb.product.as_deref().map_or_else(String::new, plain);
                format!("usb {:04x}:{:04x} {product}", usb.vid, usb.pid)
            }
            SerialPortType::PciPort => "pci".into(),
            SerialPortType::BluetoothPort => "radio".into(),
            SerialPortType::Unknown => String::new(),
        };
        lines.push(ListLine { name: plain(&port.port_name), about: about.trim_end().into() });
    }
    lines
}

/// Images in the list at most; others can be typed.
const IMAGES: usize = 200;

/// What can be brought onto a module: the way back, captures of its kind, latest first, and blank
/// words.
pub fn image_lines(shelf: &Path, specimen: &str, simulated: bool) -> Vec<ListLine> {
    let row = |name: &str, about: &str| ListLine { name: name.into(), about: about.into() };
    let mut lines = Vec::new();
    if let (Ok(shelf), Ok(label)) = (Shelf::open(Arc::new(OsDisk), shelf), Label::parse(specimen)) {
        if shelf.last_write(&label).is_ok_and(|last| last.is_some()) {
            lines.push(row(BACK, "as before the last write"));
        }
        let of_kind = |one: &Summary| {
            one.simulated == simulated && one.specimen.kind().eq_ignore_ascii_case(label.kind())
        };
        let mut captures = shelf.list().map_or_else(|_| Vec::new(), |listing| listing.captures);
        captures.retain(of_kind);
        // What was taken in the midst of a write comes last: nothing but the latest of them is new.
        captures.sort_by_key(|one| {
            (is_of_mixture(&one.note), std::cmp::Reverse((one.time, one.id.clone())))
        });
        lines.extend(captures.iter().take(IMAGES).map(|one| {
            let size = humansize::format_size(one.bytes, humansize::BINARY);
            let lacks = one.lacks().to_string();
            if is_of_mixture(&one.note) {
                return row(&one.id.to_string(), "MIXTURE, from the midst of a write");
            }
            let about = if lacks.is_empty() {
                format!("{}, {size}", one.time.strftime("%Y-%m-%d %H:%M"))
            } else {
                format!("{}, {lacks}", one.time.strftime("%Y-%m-%d"))
            };
            row(&one.id.to_string(), &format!("{} {about}", one.specimen))
        }));
    }
    lines.push(row(BLANK, "every word ones"));
    lines
}

/// Why `image` cannot be planned for this module, as far as file and shelf say.
pub fn image_error(shelf: &Path, specimen: &str, simulated: bool, image: &str) -> Option<String> {
    if image == BACK || image == BLANK {
        return None;
    }
    match open_image(image) {
        Ok(Some(_)) => None,
        Err(error) => Some(in_keys(&error.to_string())),
        Ok(None) => {
            // Without a label the job itself says what is missing.
            let label = Label::parse(specimen).ok()?;
            let shelf = Shelf::open(Arc::new(OsDisk), shelf).ok()?;
            let name = ImageName { image, space: None, range: None };
            let error = kept_image(&shelf, name, &label, simulated).err()?;
            Some(in_keys(&error.to_string()))
        }
    }
}

/// Why there is no module sheet of this name, if there is none: built in, or a file.
pub fn sheet_error(name: &str) -> Option<String> {
    load_sheet(name).err().map(|error| in_keys(&error.to_string()))
}

/// Why `text` is no range of words of `space`, or of the only space that there is.
pub fn range_error(text: &str, space: Option<&SpaceFacts>) -> Option<String> {
    let (start, words) = match parse_range(text) {
        Ok(range) => range,
        Err(error) => return Some(error.to_string()),
    };
    if !text.trim_start().starts_with("0x") && !text.trim_start().starts_with("0X") {
        // One digit is the same number either way.
        if start.0 < 10 {
            return Some(format!("{text}: addresses are written with 0x, this one as {start}"));
        }
        return Some(format!(
            "is {text} hexadecimal or decimal? Addresses are written with 0x; as a decimal number \
             this one is {start}"
        ));
    }
    let Some(space) = space else {
        return Some("a range is of one space: choose it in the field space".into());
    };
    let last = u64::from(start.0) + u64::from(words);
    let end = u64::from(space.base.0) + u64::from(space.words);
    (start < space.base || last > end).then(|| {
        format!(
            "{text} is not inside {}, which has words {}+0x{:X}",
            space.name, space.base, space.words
        )
    })
}

/// Why `text` is no label of a specimen, if it is none.
pub fn label_error(text: &str) -> Option<String> {
    Label::parse(text).err().map(|error| error.to_string())
}
