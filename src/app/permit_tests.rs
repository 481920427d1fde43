//! A write that no permit covers: refused, exit code 4, and the sentence says which was missing.

use super::SimPort;
use super::sheets::load_sheet;
use crate::bus::script::Builder;
use crate::bus::{Nanos, WordAddress};
use crate::jobs::{Desk, JobError, Runs, check_fit, with_rail};
use crate::link::{Cancel, Client, RatePlan, Session, connect, drive};
use crate::sim::{Bench, BenchDescription};

/// Writes one word of the records at 0x10 after `prepare`; the error that must come of it.
fn refused(
    prepare: impl AsyncFnOnce(&mut Runs<'_, '_>, &Client) -> Result<(), JobError>,
) -> JobError {
    let description = BenchDescription::builtin("TG-7").unwrap();
    let mut port = SimPort::new(Bench::new(&description, 1));
    let sheet = load_sheet("TG-7").unwrap();
    let client = Client::new(Session::new(7, RatePlan::default().first()));
    let mut sink = |_: &crate::jobs::Event| ();
    let cancel = Cancel::default();
    let desk = Desk::new(client.clone(), cancel.clone(), &mut sink);
    let whole = async {
        let hello = connect(&desk.client, RatePlan::default()).await?;
        let access = check_fit(&sheet, None, &hello)?;
        with_rail(&desk, &sheet, &hello, access, async |powered| {
            let mut runs = Runs::new(&desk, hello.sizes);
            prepare(&mut runs, &desk.client).await?;
            let shape = powered.access[1].id;
            let script = Builder::new(shape).write(WordAddress(0x10), 0x1234).script().unwrap();
            runs.emitted(&script, sheet.spaces[1].width).await
        })
        .await
    };
    let before = port.bench().adapter().socket().contents("records").unwrap();
    let error = drive(&client, &mut port, &cancel, whole).unwrap_err();
    let adapter = port.bench().adapter();
    assert!(adapter.socket().contents("records").unwrap() == before, "a word was written");
    assert_eq!(adapter.books().words_written, 0);
    assert!(!adapter.rail_is_on());
    error
}

fn assert_says(error: &JobError, what: &str) {
    assert_eq!(error.code(), 4, "{error}");
    assert!(error.to_string().contains(what), "{error}");
}

#[test]
fn no_permit() {
    assert_says(&refused(async |_, _| Ok(())), "no permit was given");
}

#[test]
fn a_permit_that_is_over() {
    let error = refused(async |runs, client| {
        let shape = crate::bus::ShapeId(2);
        runs.permit(shape, &[WordAddress(0x10)], u32::MAX, 1).await?;
        client.sleep(Nanos::from_millis(1_500)).await;
        Ok(())
    });
    assert_says(&error, "the permit of 1 s for shape 2 is over");
}

#[test]
fn a_permit_for_another_word() {
    let error = refused(async |runs, _| {
        runs.permit(crate::bus::ShapeId(2), &[WordAddress(0x11)], u32::MAX, 60).await
    });
    assert_says(&error, "the permit for shape 2 does not cover it");
    let error = refused(async |runs, _| {
        runs.permit(crate::bus::ShapeId(0), &[WordAddress(0x10)], u32::MAX, 60).await
    });
    assert_says(&error, "the permit for shape 0 does not cover it");
}

#[test]
fn a_permit_that_was_given_back() {
    let error = refused(async |runs, _| {
        runs.permit(crate::bus::ShapeId(2), &[WordAddress(0x10)], u32::MAX, 60).await?;
        runs.no_permit(crate::bus::ShapeId(2)).await
    });
    assert_says(&error, "no permit was given");
}
