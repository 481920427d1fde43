//! SHAPE: what is refused and what is answered.

use super::*;

fn refused(host: &mut Host, id: u8, shape: Shape) -> (FaultCode, u32) {
    host.fault(&Request::Shape(ShapeRequest { id: ShapeId(id), shape }))
}

fn begun() -> Host {
    let mut host = Host::new();
    host.hello(1);
    host
}

#[test]
fn every_rule_has_its_own_detail() {
    let mut host = begun();
    let good = records_shape();
    let mut bad = good;
    bad.idle.level &= !(CS1 | WE);
    assert_eq!(refused(&mut host, 0, bad), (FaultCode::SHAPE_REFUSED, 1));
    bad = good;
    bad.write = Some(Phases { setup: low(CS1), strobe: low(OE) });
    assert_eq!(refused(&mut host, 0, bad), (FaultCode::SHAPE_REFUSED, 1 | 2 << 8));
    bad = good;
    bad.read.strobe = low(OE | WE);
    assert_eq!(refused(&mut host, 0, bad), (FaultCode::SHAPE_REFUSED, 2 | 1 << 8));
    bad = good;
    bad.read.setup = low(CS1 | 0x40);
    assert_eq!(refused(&mut host, 0, bad), (FaultCode::SHAPE_REFUSED, 3 | 6 << 8));
    bad = good;
    bad.first_line = 1;
    assert_eq!(refused(&mut host, 0, bad), (FaultCode::SHAPE_REFUSED, 4 | 32 << 8));
    bad = good;
    bad.idle.mask &= !CS1;
    assert_eq!(refused(&mut host, 0, bad), (FaultCode::SHAPE_REFUSED, 5));
    host.shape(3, good);
    bad = store_shape();
    (bad.idle.mask, bad.idle.level) = (bad.idle.mask | CS1, bad.idle.level & !CS1);
    assert_eq!(refused(&mut host, 0, bad), (FaultCode::SHAPE_REFUSED, 6 | 3 << 8));
}

#[test]
fn a_read_that_would_be_the_write_of_another_slot_is_refused() {
    let mut host = Host::edited("TG-7", |d| d.adapter.control[1].write_strobe = false);
    host.hello(1);
    host.shape(4, records_shape());
    let mut crossed = shape_of(Width::W32, CS1, false);
    crossed.read.strobe = low(WE);
    assert_eq!(refused(&mut host, 0, crossed), (FaultCode::SHAPE_REFUSED, 7 | 4 << 8));
    // And in the other order.
    let mut host = Host::edited("TG-7", |d| d.adapter.control[1].write_strobe = false);
    host.hello(1);
    host.shape(0, crossed);
    assert_eq!(refused(&mut host, 4, records_shape()), (FaultCode::SHAPE_REFUSED, 7));
}

#[test]
fn with_the_rail_on_held_levels_stay_and_new_lines_are_held() {
    let mut host = begun();
    host.shape(0, store_shape());
    host.rail_on(1);
    let mut bad = store_shape();
    bad.idle.level &= !CS0;
    assert_eq!(refused(&mut host, 0, bad), (FaultCode::SHAPE_REFUSED, 6));
    host.shape(1, records_shape());
    // A new session forgets the shapes, not what the lines are held at.
    host.hello(2);
    bad = records_shape();
    bad.idle.level &= !CS1;
    assert_eq!(refused(&mut host, 3, bad), (FaultCode::SHAPE_REFUSED, 6 | 3 << 8));
    host.rail(RailRequest::OFF);
    bad.write = None;
    host.shape(3, bad);
}

#[test]
fn slots_beyond_the_last_are_refused() {
    let mut host = begun();
    host.shape(7, store_shape());
    assert_eq!(refused(&mut host, 8, store_shape()), (FaultCode::NO_SHAPE, 0));
}

#[test]
fn the_same_definition_again_is_answered_as_before() {
    let mut host = begun();
    let first = host.shape(0, store_shape());
    assert_eq!(host.shape(0, store_shape()), first);
    // With the times really used as well.
    assert_eq!(host.shape(0, Shape { times: first, ..store_shape() }), first);
    assert_eq!(host.rail_on(1).state, RailState::On);
}

#[test]
fn the_count_of_shapes_must_be_right() {
    let mut host = begun();
    let mut request = rail_on(0);
    assert_eq!(host.fault(&Request::Rail(request)), (FaultCode::SHAPES_MISSING, 0));
    host.shape(0, store_shape());
    host.shape(0, store_shape());
    request.shapes = 2;
    assert_eq!(host.fault(&Request::Rail(request)), (FaultCode::SHAPES_MISSING, 1));
    request.shapes = 1;
    assert_eq!(host.rail(request).state, RailState::On);
}
