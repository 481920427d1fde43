//! Whatever arrives, nothing panics and nothing grows without end.

use super::fuzz_requests::{any_bus_request, any_permit};
use super::*;
use crate::sim::{Event, FrameFaults, Pace};
use crate::wire::Kind;
use proptest::prelude::*;

#[derive(Clone, Debug)]
enum Step {
    Noise(Vec<u8>),
    Body(Vec<u8>),
    Good(Request),
    Rate(u32),
    Pass(u32),
    Happens(u8),
}

fn any_shape() -> impl Strategy<Value = Request> {
    let levels = || (0_u16..16, 0_u16..16).prop_map(|(mask, l)| Levels { mask, level: l & mask });
    let phases = || (levels(), levels()).prop_map(|(setup, strobe)| Phases { setup, strobe });
    let width = prop_oneof![Just(Width::W8), Just(Width::W16), Just(Width::W32)];
    let write = proptest::option::of(phases());
    (0_u8..10, width, 0_u8..40, levels(), phases(), write, any::<u16>()).prop_map(
        |(id, width, first_line, idle, read, write, ns)| {
            let times = ShapeTimes { setup: ns, pulse: ns / 2, hold: 0, recover: ns, release: ns };
            let shape = Shape { width, first_line, idle, read, write, times };
            Request::Shape(ShapeRequest { id: ShapeId(id), shape })
        },
    )
}

fn any_request() -> impl Strategy<Value = Request> {
    let precharge =
        || prop_oneof![Just(Precharge::None), Just(Precharge::Zeros), Just(Precharge::Ones)];
    let shape_id = || prop_oneof![8 => Just(0_u8), 1 => 1_u8..9];
    let address = || prop_oneof![8 => 0x400_u32..0x800, 1 => any::<u32>()];
    let step = || prop_oneof![4 => Just(1_i16), 2 => Just(-1), 1 => Just(0), 1 => any::<i16>()];
    prop_oneof![
        1 => (5_u32..8).prop_map(hello),
        2 => Just(Request::Ping),
        1 => Just(Request::Stop),
        3 => Just(Request::Shape(ShapeRequest { id: ShapeId(0), shape: store_shape() })),
        1 => any_shape(),
        1 => (0_u8..4).prop_map(|shapes| Request::Rail(rail_on(shapes))),
        3 => Just(Request::Rail(rail_on(2))),
        1 => Just(Request::Shape(ShapeRequest { id: ShapeId(1), shape: records_shape() })),
        1 => Just(Request::Rail(RailRequest::OFF)),
        1 => prop_oneof![Just(115_200), Just(1_000_000), any::<u32>()].prop_map(rate_request),
        10 => (shape_id(), address(), step(), any::<u16>(), precharge(), 0_u8..3).prop_map(
            |(shape, at, step, count, precharge, encoding)| {
                let base = echo(shape, at, count % 300);
                Request::Read(ReadRequest { echo: ReadEcho { step, precharge, encoding, ..base } })
            }
        ),
        6 => (shape_id(), address(), step(), prop_oneof![0_u32..0x800, 0_u32..0x20_0000], precharge()).prop_map(
            |(shape, at, step, count, precharge)| {
                Request::Digest(DigestRequest {
                    nonce: 3,
                    shape: ShapeId(shape),
                    address: WordAddress(at),
                    step,
                    count,
                    precharge,
                })
            }
        ),
    ]
}

fn any_step() -> impl Strategy<Value = Step> {
    prop_oneof![
        1 => proptest::collection::vec(any::<u8>(), 0..600).prop_map(Step::Noise),
        1 => proptest::collection::vec(any::<u8>(), 2..60).prop_map(Step::Body),
        30 => any_request().prop_map(Step::Good),
        12 => any_bus_request().prop_map(Step::Good),
        3 => any_permit().prop_map(Step::Good),
        1 => prop_oneof![Just(115_200), Just(1_000_000)].prop_map(Step::Rate),
        6 => prop_oneof![0_u32..3_000_000, 0_u32..20_000].prop_map(Step::Pass),
        1 => (0_u8..8).prop_map(Step::Happens),
    ]
}

fn apply(host: &mut Host, step: &Step) {
    match step {
        Step::Noise(bytes) => host.bench.host_send(host.now, bytes),
        Step::Body(body) => host.send_body(body),
        Step::Good(request) => {
            host.send(request);
        }
        Step::Rate(rate) => host.bench.set_host_rate(host.now, Baud(*rate)),
        Step::Pass(us) => host.run(Nanos::from_micros(u64::from(*us))),
        Step::Happens(n) => match n {
            0 => host.bench.at(host.now, Event::Reset),
            1 => host.bench.at(host.now, Event::Sag(Millivolts(1_000))),
            2 => host.bench.at(host.now, Event::OverCurrent),
            3 => host.bench.after(2, Kind::READ, Event::Reset),
            4 => host.bench.open(host.now),
            5 => host.bench.at(host.now + Nanos::from_millis(3), Event::Unplug),
            6 => host.bench.at(host.now, Event::Replug),
            _ => host.bench.damage_reply(1, crate::sim::FrameFault::Flip),
        },
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 256, ..ProptestConfig::default() })]

    #[test]
    fn any_history_is_survived(
        steps in proptest::collection::vec(any_step(), 1..60),
        ready in proptest::bool::weighted(0.9),
        faults in proptest::bool::weighted(0.3),
        instant in any::<bool>(),
        permits in any::<bool>(),
    ) {
        let mut host = Host::edited("TG-7", |d| {
            d.memories[0].0.words = 0x1_0000;
            d.adapter.boot_time = Nanos::from_millis(10);
            if instant {
                d.line.pace = Pace::Instant;
            }
        });
        if ready {
            host.hello(7);
            host.shape(0, store_shape());
            host.shape(1, records_shape());
            host.rail_on(2);
        }
        let records = host.contents("records");
        if faults {
            let odds = FrameFaults { drop: 0.1, flip: 0.1, double: 0.1, lost_delimiter: 0.1 };
            host.bench.set_faults(odds, odds, 11);
        }
        let is_permit = |step: &Step| matches!(step, Step::Good(Request::Permit(_)));
        for step in steps.iter().filter(|step| permits || !is_permit(step)) {
            apply(&mut host, step);
            prop_assert!(host.bench.adapter().held_bytes() < 8_192);
        }
        host.run_ms(100);
        let books = host.bench.adapter().books();
        prop_assert!(books.violations.len() <= 256 && books.rail.len() <= 256);
        prop_assert!(books.ran.len() <= 256);
        prop_assert_eq!(books.runs_twice, 0);
        let module = host.bench.adapter().socket().books().unwrap();
        prop_assert_eq!(books.words_written, module.writes);
        // Without a permit no write cycle at all.
        if !permits {
            prop_assert_eq!(module.writes, 0);
            prop_assert!(host.contents("records") == records);
        }
    }

    #[test]
    fn noise_straight_into_the_adapter(
        noise in proptest::collection::vec(any::<u8>(), 0..4_000),
    ) {
        let description = BenchDescription::builtin("TG-7").unwrap();
        let socket = Box::new(crate::sim::Module::new(
            crate::sim::ModuleConfig {
                memories: Vec::new(),
                pulls: Levels::default(),
                needs: Millivolts(0),
            },
            0,
        ));
        let mut adapter = crate::sim::Adapter::new(description.adapter, socket, 1);
        for (n, piece) in noise.chunks(37).enumerate() {
            adapter.handle(Nanos::from_millis(n as u64), piece);
            while adapter.poll_transmit(Nanos::from_millis(n as u64)).is_some() {}
            prop_assert!(adapter.held_bytes() < 8_192);
        }
        prop_assert_eq!(adapter.books().words_read, 0);
    }
}
