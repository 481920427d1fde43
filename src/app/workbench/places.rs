//! Ports that there are.

use crate::shelf::Label;
use serialport::SerialPortType;

/// A port for the dialog.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PortLine {
    /// As it is named.
    pub name: String,
    /// What is known of it.
    pub about: String,
}

/// The simulated bench and every serial port that the system knows.
pub fn port_lines() -> Vec<PortLine> {
    let plain = |text: &str| text.chars().filter(|c| !c.is_control()).collect::<String>();
    let mut lines = vec![PortLine { name: "sim".into(), about: "simulated bench".into() }];
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
        lines.push(PortLine { name: plain(&port.port_name), about: about.trim_end().into() });
    }
    lines
}

/// Why `text` is no label of a specimen, if it is none.
pub fn label_error(text: &str) -> Option<String> {
    Label::parse(text).err().map(|error| error.to_string())
}
