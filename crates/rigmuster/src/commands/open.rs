//! From arguments to a source and ledgers that fit together.

use std::io::{self, Write};

use ledger::{Muster, Purpose, Settings, Vendors};
use link::Clock;
use tokio::task::JoinHandle;
use vocab::{Ipv4Net, Station};

use crate::Failure;
use crate::args::LinkArgs;
use crate::journal::{About, Place, Recorder};
use crate::settings::{self, Expected};
use crate::source::{self, Rehearsal, Source};
use crate::vendors;
use crate::walltime::WallTime;

/// The widest subnet that is swept: /16, 65,534 addresses.
const WIDEST: u8 = 16;

/// Whether the simulated venue plays in real time or jumps from event to event.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Tempo {
    /// For a person who watches.
    Real,
    /// For a result.
    Jump,
}

/// A run that is about to begin.
#[derive(Debug)]
pub(super) struct Run {
    /// Where sightings come from.
    pub source: Source,
    /// Who judges them.
    pub ledger: Muster,
    /// What the wall clock says of the run's moments.
    pub wall: WallTime,
    /// Whether it is the simulated venue.
    pub simulated: bool,
}

impl Run {
    /// Begins to keep its journal.
    pub(super) fn record(&self, place: Place, expected: &Expected) -> Recorder {
        let about = About::of(expected, self.source.names().join(" "), self.simulated);
        Recorder::start(place, about, &self.wall, self.source.now())
    }

    /// The run ends: what the ledger still has to tell is written, and the journal brought to its end.
    pub(super) fn close(&mut self, mut journal: Recorder) {
        let now = self.source.now();
        self.ledger.close(now);
        let snapshot = self.ledger.snapshot(now);
        while let Some(change) = self.ledger.next_change() {
            journal.record(&change, &snapshot, now);
        }
        journal.look(&snapshot, now);
        if let Some(trouble) = journal.finish(now) {
            let _ = writeln!(io::stderr(), "rigmuster: {trouble}");
        }
    }

    /// Begins to look whether the system has a newer table of hardware makers than the program. A
    /// rehearsal plays the same everywhere, so it takes what is shipped.
    pub(super) fn look_for_vendors(&self) -> NewVendors {
        NewVendors((!self.simulated).then(|| tokio::task::spawn_blocking(vendors::newer)))
    }
}

/// The search for a newer table of makers, which waits for the disk on a thread of its own.
#[derive(Debug)]
pub(super) struct NewVendors(Option<JoinHandle<Option<Vendors>>>);

impl NewVendors {
    /// The newer table, if there is one. Once it is found, and where there is none, this waits for
    /// ever. Dropping the future loses nothing.
    pub(super) async fn arrive(&mut self) -> Vendors {
        if let Some(search) = &mut self.0 {
            let found = search.await;
            self.0 = None;
            if let Ok(Some(vendors)) = found {
                return vendors;
            }
        }
        std::future::pending().await
    }

    /// The newer table, if there is one, when the search is over.
    pub(super) async fn end(self) -> Option<Vendors> {
        self.0?.await.ok().flatten()
    }
}

/// Opens the links or the venue, and the ledgers beside them. Must be called inside the runtime.
pub(super) fn open(
    expected: &Expected,
    args: &LinkArgs,
    purpose: Purpose,
    tempo: Tempo,
) -> Result<Run, Failure> {
    open_without(expected, args, purpose, tempo, false)
}

/// The same; `no_subnet` where neither a rig file nor an address of our own need say which subnet
/// to go through, because there are other places to look.
pub(super) fn open_without(
    expected: &Expected,
    args: &LinkArgs,
    purpose: Purpose,
    tempo: Tempo,
    no_subnet: bool,
) -> Result<Run, Failure> {
    let clock = Clock::start();
    let rig = expected.paced(args);
    let nets = source::nets(rig.as_ref(), expected.pace(args));
    let (source, station) = if let Some(name) = &args.rehearse {
        let scene = settings::scene(name)?;
        let clock = (tempo == Tempo::Real).then_some(clock);
        let rehearsal = Rehearsal::new(&scene, args.seed, &nets, args.listen_only, clock);
        let station = rehearsal.venue().station();
        (Source::Rehearsal(Box::new(rehearsal)), station)
    } else {
        let goes_by_own_subnet = expected.rig.is_none() && !no_subnet;
        let fits = |station: &Station| {
            if goes_by_own_subnet {
                own_subnet(station)?;
            }
            Ok(())
        };
        let drivers = source::open_live(rig.as_ref(), args, &nets, clock, fits)?;
        let station = drivers.main().live().station().clone();
        (Source::Live(Box::new(drivers)), station)
    };
    let now = source.now();
    let wall = WallTime::read(now);
    let settings = settle(
        expected.ledger(purpose, args),
        &station,
        args.rehearse.is_none(),
        no_subnet,
    )?;
    let mut ledger = Muster::new(settings, now);
    if args.listen_only {
        for leg in 0..nets.len() {
            let fact = vocab::Fact::ListenOnly(true);
            ledger.fold(leg, &vocab::Sighting { at: now, fact });
        }
    }
    Ok(Run {
        source,
        ledger,
        wall,
        simulated: args.rehearse.is_some(),
    })
}

/// Fills in what this computer knows where the rig file says nothing.
fn settle(
    mut settings: Settings,
    station: &Station,
    live: bool,
    no_subnet: bool,
) -> Result<Settings, Failure> {
    if settings.rig.is_none() {
        let subnet = own_subnet(station);
        settings.subnet = if no_subnet { subnet.ok() } else { Some(subnet?) };
    }
    if live {
        settings.gateway = link::default_gateway();
    }
    Ok(settings)
}

/// The subnet to survey without a rig file: the interface's own.
fn own_subnet(station: &Station) -> Result<Ipv4Net, Failure> {
    let Some(net) = station.addresses.first().map(Ipv4Net::trunc) else {
        return Err(Failure::link(format_args!(
            "{} has no IPv4 address, so there is no subnet to survey\n\
             next step: give the computer an address on the rig's network, or name a rig file: rigmuster survey hall.rig.toml",
            station.name
        )));
    };
    if net.prefix_len() < WIDEST {
        return Err(Failure::usage(format_args!(
            "{} is on {net}, which is wider than /{WIDEST}: too many addresses to ask politely\n\
             next step: name a rig file whose subnet is the part that the rig uses",
            station.name
        )));
    }
    Ok(net)
}

#[cfg(test)]
mod tests {
    use super::*;
    use vocab::{LinkState, Mac, Medium, Mode};

    fn station(addresses: &[&str]) -> Station {
        Station {
            name: "eth0".into(),
            index: 2,
            mac: Mac::new([2, 0x52, 0x43, 0, 0, 1]),
            addresses: addresses.iter().map(|a| a.parse().unwrap()).collect(),
            link_local: None,
            state: LinkState::Up,
            medium: Medium::Wired,
            mode: Mode::Raw,
            others: Vec::new(),
        }
    }

    #[test]
    fn a_survey_without_a_file_takes_the_interfaces_subnet() {
        assert_eq!(
            own_subnet(&station(&["10.40.8.7/24"])).unwrap().to_string(),
            "10.40.8.0/24"
        );
    }

    #[test]
    fn no_address_and_too_wide_a_subnet_are_refused_with_a_next_step() {
        for refused in [own_subnet(&station(&[])), own_subnet(&station(&["10.0.0.1/8"]))] {
            assert!(refused.unwrap_err().message.contains("next step"));
        }
    }
}
