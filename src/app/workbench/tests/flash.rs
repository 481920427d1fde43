//! Writes by hand to flash chips: named, asked for, refused.

use super::*;
use crate::app::IdentifyOptions;
use crate::chips::Act;

const SHEET: &str = "format = 1\nname = \"PF\"\nrail_mv = 3300\naddress_lines = 20\n\
    [[space]]\nname = \"store\"\nkind = \"flash\"\nfamily = \"amd\"\nwidth = 32\nwords = 0x8000\n\
    select = { CS0 = \"low\" }\n\
    chips = [{ ref = \"U1\", lane = \"D0-D15\" }, { ref = \"U2\", lane = \"D16-D31\" }]\n";

const BENCH: &str = "format = 1\nsheet = \"small.toml\"\nspecimen = \"PF #0001\"\n\
    [line]\npace = \"instant\"\n\
    [[memory]]\nkind = \"flash\"\nname = \"store\"\nwidth = 32\nwords = 0x8000\n\
    select = { CS0 = \"low\" }\nchip = \"SMALL-A\"\n";

/// Where the test programs; the sector has 0x800 words.
const AT: WordAddress = WordAddress(0x1803);
const SECTOR: (WordAddress, WordAddress) = (WordAddress(0x1800), WordAddress(0x1FFF));

fn write(address: u32, value: u32) -> Order {
    Order::Write { space: 0, address: WordAddress(address), value }
}

fn allow(changes: Option<(WordAddress, WordAddress)>) -> Order {
    Order::Allow { space: 0, seconds: 600, changes }
}

impl Screen {
    /// Makes a write in the space; what it does, or what it asks for.
    fn does(&mut self, address: u32, value: u32) -> Result<Act, Act> {
        match self.order(write(address, value)) {
            Answer::Written { does: Some(does), .. } => Ok(does.act),
            Answer::Asks { verdict, .. } => Err(verdict.act),
            other => panic!("{other:?}"),
        }
    }

    /// The word once it stands still: a chip at work shows that it is.
    fn reads(&mut self, address: WordAddress) -> u32 {
        for _ in 0..100 {
            match self.order(Order::Read { space: 0, address }) {
                Answer::Read { words: [zeros, ones], .. } if zeros == ones => return ones,
                Answer::Read { .. } => {}
                other => panic!("{other:?}"),
            }
        }
        panic!("{address} does not stand still")
    }

    fn unlock(&mut self) {
        assert_eq!(self.does(0x555, 0x00AA_00AA), Ok(Act::Part));
        assert_eq!(self.does(0x2AA, 0x0055_0055), Ok(Act::Part));
    }

    fn rail_on(&mut self) {
        self.handle.send(Command::RailOn);
        self.until(|now| matches!(now.rail, Rail::On { .. }));
    }
}

#[test]
fn flash_is_poked_with_a_copy_and_leave_for_each_kind_of_write() {
    let mut screen = screen_of(SHEET, BENCH);
    screen.connect();
    screen.rail_on();
    let early = screen.order(allow(None));
    assert!(matches!(&early, Answer::Refused(why) if why.contains("capture first")), "{early:?}");
    screen.capture(3);
    screen.handle.send(Command::Run("identify", Job::Identify(IdentifyOptions::default())));
    screen.until(|now| now.ended == 4);
    screen.rail_on();
    let locked = screen.order(write(0x555, 0x00F0_00F0));
    assert!(matches!(&locked, Answer::Refused(why) if why.contains("locked")), "{locked:?}");

    // Questions need no more than leave to write.
    assert!(matches!(screen.order(allow(None)), Answer::Allowed { changes: None, .. }));
    screen.unlock();
    assert_eq!(screen.does(0x555, 0x0090_0090), Ok(Act::Harmless));
    assert_eq!(screen.reads(WordAddress(1)), 0x22F1_22F1);
    assert_eq!(screen.does(0, 0x00F0_00F0), Ok(Act::Harmless));

    // A program asks, and is made inside its window only.
    let before = screen.reads(AT);
    let value = before & 0x1234_5678;
    screen.unlock();
    assert_eq!(screen.does(0x555, 0x00A0_00A0), Ok(Act::Part));
    assert_eq!(screen.does(AT.0, value), Err(Act::Program));
    assert_eq!(screen.reads(AT), before);
    assert!(matches!(screen.order(allow(Some(SECTOR))), Answer::Allowed { .. }));
    assert_eq!(screen.does(0x1700, value), Err(Act::Program));
    assert_eq!(screen.does(AT.0, value), Ok(Act::Program));
    assert_eq!(screen.reads(AT), value);
    let marks =
        screen.handle.look().0.map[0].cells.iter().map(|cell| cell.mark).collect::<Vec<_>>();
    assert_eq!(marks, [Mark::NotRead, Mark::Agreed], "the block that was programmed in");

    // The whole chip needs leave for all of its space; nothing protects for good.
    screen.unlock();
    assert_eq!(screen.does(0x555, 0x0080_0080), Ok(Act::Part));
    screen.unlock();
    let held = Order::Hold { space: 0, address: AT, value: Some(0x0010_0010) };
    let asks = screen.order(held);
    assert!(matches!(asks, Answer::Asks { verdict, .. } if verdict.act == Act::EraseChip));
    assert_eq!(screen.does(AT.0, 0x0030_0030), Ok(Act::Erase));
    screen.unlock();
    let never = screen.order(write(0x555, 0x0088_0088));
    let why = "of U1 protects for good";
    assert!(matches!(&never, Answer::Refused(said) if said.contains(why)), "{never:?}");
    let outside = screen.order(allow(Some((AT, WordAddress(0x8000)))));
    assert!(matches!(&outside, Answer::Refused(why) if why.contains("no stretch")), "{outside:?}");

    screen.handle.send(Command::RailOff);
    screen.until(|now| now.doing == Doing::Nothing);
    assert!(screen.said("2 of the writes changed flash chips"), "{:?}", screen.items);
}
