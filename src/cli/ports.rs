//! `ports`: what the system knows of its serial ports.

use super::context::Context;
use super::output::Output;
use serde::Serialize;
use serialport::SerialPortType;

#[derive(Serialize)]
struct Port {
    name: String,
    kind: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    usb: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    product: Option<String>,
}

/// Runs `ports`.
pub fn run(context: &Context) -> u8 {
    let output = context.output;
    let ports = match serialport::available_ports() {
        Ok(ports) => ports,
        Err(error) => return Output::fail(3, &format!("the system does not list ports: {error}")),
    };
    for port in &ports {
        let port = describe(port);
        if output.json {
            Output::json(&port);
        } else {
            let more = [port.usb.as_deref(), port.product.as_deref()];
            let more: Vec<_> = more.into_iter().flatten().collect();
            Output::line(
                format!("{:<20} {:<5} {}", port.name, port.kind, more.join(" ")).trim_end(),
            );
        }
    }
    if ports.is_empty() {
        output.say(
            "no serial port is there; the simulated bench (--port sim) and tcp:HOST:PORT need none",
        );
    }
    0
}

fn describe(port: &serialport::SerialPortInfo) -> Port {
    let plain = |text: &str| text.chars().filter(|c| !c.is_control()).collect::<String>();
    let (kind, usb, product) = match &port.port_type {
        SerialPortType::UsbPort(usb) => {
            let serial = usb.serial_number.as_deref().unwrap_or("no serial number");
            let ids = format!("{:04x}:{:04x} {}", usb.vid, usb.pid, plain(serial));
            ("usb", Some(ids), usb.product.as_deref().map(plain))
        }
        SerialPortType::PciPort => ("pci", None, None),
        SerialPortType::BluetoothPort => ("radio", None, None),
        SerialPortType::Unknown => ("other", None, None),
    };
    Port { name: plain(&port.port_name), kind, usb, product }
}
