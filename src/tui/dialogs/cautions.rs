//! What everybody should know before a module is touched.

/// The cautions: a head and a sentence each.
pub const CAUTIONS: [(&str, &str); 6] = [
    (
        "Rail",
        "Rail off before a module goes in or out. It is safe to move only when the rail was \
         measured, or a person has confirmed it with a meter.",
    ),
    ("Static", "Take ESD precautions (ANSI/ESD S20.20): strap, mat, module in its bag."),
    (
        "Levels",
        "Never drive a 3.3 V module from 5 V lines without level shifting. Drive no line into an \
         unpowered module.",
    ),
    (
        "Contents",
        "Battery-backed RAM and constants are lost with one wrong move: capture first. Flash \
         wears: no erase \"to test\".",
    ),
    (
        "Instrument",
        "A changed instrument is unproven. A person qualified for its use checks it against a \
         known reference, licensed where local rules ask for it, before anyone relies on it.",
    ),
    ("Owner", "What a module holds belongs to its owner."),
];
