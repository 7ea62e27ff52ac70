//! `walk`: proves which head each channel of a panel drives, by pushing its stick.

use super::deed;
use crate::args::WalkArgs;
use crate::hands::Deed;
use crate::settings::Expected;
use crate::walk::{Map, NoMap, plan_on_paper, walk as go};
use crate::{Exit, Failure};

/// Walks the channels of a panel.
pub(super) async fn walk(args: WalkArgs) -> Result<Exit, Failure> {
    let expected = deed::prepare(Deed::Walk, &args.deed)?;
    let map = map(&args, &expected)?;
    if args.deed.dry_run {
        super::print(&plan_on_paper(&map))?;
        return Ok(Exit::Done);
    }
    let mut run = deed::open(Deed::Walk, &args.deed, &expected)?;
    let interrupt = deed::signals()?;
    let journal = deed::record(&args.deed, &run, &expected);
    let (within, played) = (args.deed.within, run.simulated);
    deed::carry_out(Deed::Walk, &mut run, journal, interrupt, |desk, talk| {
        go(desk, talk, map, within, played)
    })
    .await
}

fn map(args: &WalkArgs, expected: &Expected) -> Result<Map, Failure> {
    let Some(rig) = &expected.rig else {
        return Err(Failure::usage(
            "walk holds channels against a rig file, and there is none here\n\
             next step: name it: rigmuster walk PANEL --rig FILE",
        ));
    };
    let file = expected.file.as_deref().unwrap_or("the rig file");
    let map = Map::of(rig, expected.document.as_ref(), file, &args.panel, args.channel);
    map.map_err(|why| {
        Failure::usage(match why {
            NoMap::UnknownPanel(panels) if panels.is_empty() => format!(
                "no device of {file} is called {:?}, and none has channels\n\
                 next step: write the panel's channels in the rig file: channels = {{ 1 = \"NAME\" }}",
                args.panel
            ),
            NoMap::UnknownPanel(panels) => format!(
                "no device of {file} is called {:?}\nnext step: name one that has channels: {}",
                args.panel,
                panels.join(", ")
            ),
            NoMap::Empty(name) => format!(
                "{name} has no channels in {file}\n\
                 next step: write them there: channels = {{ 1 = \"NAME\" }}"
            ),
            NoMap::UnknownChannel(name, channels) => {
                let channels: Vec<String> = channels.iter().map(u32::to_string).collect();
                format!(
                    "{name} has no channel {} in {file}\nnext step: take one of {}",
                    args.channel.unwrap_or_default(),
                    channels.join(", ")
                )
            }
        })
    })
}
