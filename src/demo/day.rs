//! The demo's own day: a crate of returns and a shelf of players to go, scanned from pictures, and the month's review.

use std::path::{Path, PathBuf};

use crate::app::answer::{Answer, Outcome};
use crate::app::consignment;
use crate::app::dispatch::Dispatch;
use crate::app::notice::{self, Named};
use crate::app::review::{self, Asked, Month, Review};
use crate::app::session::{Here, Session, Work};
use crate::domain::moment::{Moment, day_after};
use crate::domain::tag::{Tag, TagKind};
use crate::print::geometry::Geometry;
use crate::print::labels::{self, Drift, Label, Marks, SheetRequest};
use crate::print::{PageSize, calibration, card};
use crate::scan::picture::Limits;

use super::clearing;
use super::error::DemoError;
use super::picture::{self, Trouble};
use super::scenario::{self, Scenario};
use super::visit::World;

/// The sheet that the demo prints on.
const SHEET: &str = "a4-65";
/// Returns in the crate, and players to send.
const RETURNS: usize = 12;
const DISPATCHES: usize = 8;

/// What was made.
#[derive(Debug, Clone)]
pub struct Made {
    /// The ledger file.
    pub ledger: PathBuf,
    /// Packs in it.
    pub packs: u32,
    /// Entries in it.
    pub entries: u64,
    /// Pictures taken, and how many tags on them could be read.
    pub pictures: usize,
    /// Tags read from the pictures, of how many.
    pub read: (usize, usize),
    /// The review of the month.
    pub review: Review,
    /// Verdicts at intake and answers at dispatch, in words.
    pub sessions: Vec<String>,
}

/// Makes the demo in a folder that is empty or not there yet.
///
/// # Errors
/// When the folder holds something, a file cannot be written, or an operation fails.
pub fn make(folder: &Path, progress: impl FnMut(u64)) -> Result<Made, DemoError> {
    let io = |path: &Path| {
        let path = path.to_owned();
        move |source| DemoError::Io { path, source }
    };
    for part in ["sheets", "pictures", "sessions"] {
        let path = folder.join(part);
        std::fs::create_dir_all(&path).map_err(io(&path))?;
    }
    let path = folder.join("skerrow.muster");
    let beside = folder.join("skerrow.policy.toml");
    std::fs::write(&beside, scenario::POLICY).map_err(io(&beside))?;
    let mut world = World::begin(Scenario::parse(scenario::TEXT)?, &path)?;
    world.live(progress)?;
    let mut day = Day::new(world, folder)?;
    day.sheets()?;
    let intake = day.intake()?;
    let dispatch = day.dispatch()?;
    let clearing = day.clear()?;
    day.finish(path, vec![intake, dispatch, clearing])
}

struct Day {
    world: World,
    folder: PathBuf,
    geometry: Geometry,
    /// Player, its pack, its make.
    returns: Vec<(Tag, Tag, usize)>,
    /// Pack and player to go out.
    going: Vec<(Tag, Tag)>,
    pictures: usize,
    read: (usize, usize),
}

impl Day {
    fn new(mut world: World, folder: &Path) -> Result<Self, DemoError> {
        let day = world.scenario.demo_day;
        let site = world.scenario.site.first().map(|site| site.name.clone()).unwrap_or_default();
        world.ledger.write_for(Some(&site))?;
        world.desk.name = format!("{site} desk");
        let start = Moment::start_of(day, world.ledger.zone()).plus_millis(9 * 3_600_000);
        world.clock.set(start);
        let mut out: Vec<(jiff::civil::Date, usize)> = Vec::new();
        if let Some(shop) = world.shops.first() {
            for (number, player) in shop.players.iter().enumerate() {
                out.extend(player.out.map(|(_, back)| (back, number)));
            }
        }
        out.sort();
        let mut returns = Vec::new();
        for (_, number) in out.into_iter().take(RETURNS) {
            if let Some((player, pack)) = world.come_back(0, number, day) {
                let tag = world.packs.get(pack).map(|pack| pack.tag);
                returns.extend(tag.map(|tag| (player.tag, tag, player.make)));
            }
        }
        let going = Self::choose(&mut world, &returns);
        let text = labels::named(SHEET).unwrap_or_default();
        let geometry = Geometry::parse(text).map_err(|error| DemoError::Scenario(error.to_string()))?;
        Ok(Self { world, folder: folder.to_owned(), geometry, returns, going, pictures: 0, read: (0, 0) })
    }

    /// A fit pack for each of the players that came back, and for one of them a pack that was not measured since its return.
    fn choose(world: &mut World, returns: &[(Tag, Tag, usize)]) -> Vec<(Tag, Tag)> {
        let mut going = Vec::new();
        for &(player, _, make) in returns {
            let pack = if going.len() == DISPATCHES / 2 {
                let shop = world.shops.first();
                let packs = &world.packs;
                let fits = |pack: &&usize| packs.get(**pack).is_some_and(|pack| pack.make == make);
                shop.and_then(|shop| shop.measure.iter().find(fits).copied())
            } else {
                world.fit_for(0, make)
            };
            let tag = pack.and_then(|pack| world.packs.get(pack)).map(|pack| pack.tag);
            going.extend(tag.map(|tag| (tag, player)));
            if going.len() == DISPATCHES {
                break;
            }
        }
        going
    }

    fn sheets(&self) -> Result<(), DemoError> {
        let packs =
            self.returns.iter().map(|(_, pack, _)| *pack).chain(self.going.iter().map(|(pack, _)| *pack));
        self.sheet("packs.pdf", packs)?;
        let players =
            self.returns.iter().map(|(player, ..)| *player).chain(self.going.iter().map(|(_, p)| *p));
        self.sheet("players.pdf", players)?;
        let slots = self.world.shops.iter().flat_map(|shop| shop.slots.iter().map(|slot| slot.tag));
        self.sheet("slots.pdf", slots)?;
        self.sheet("operators.pdf", self.world.operators.iter().copied())?;
        let mut random = self.world.desk.random.clone();
        let fresh: Vec<Tag> =
            (0..self.geometry.positions()).map(|_| Tag::draw(TagKind::Pack, &mut random)).collect();
        self.sheet("fresh-packs.pdf", fresh.into_iter())?;
        self.write("sheets/command-card.pdf", &card::command_card(PageSize::A4)?)?;
        self.write("sheets/rulers.pdf", &calibration::calibration(&self.geometry, &Drift::default())?)
    }

    fn sheet(&self, name: &str, tags: impl Iterator<Item = Tag>) -> Result<(), DemoError> {
        let labels: Vec<Label<'_>> = tags.map(|tag| Label { tag, caption: None }).collect();
        let request = SheetRequest {
            geometry: &self.geometry,
            labels: &labels,
            start: 1,
            drift: Drift::default(),
            marks: Marks::None,
        };
        self.write(&format!("sheets/{name}"), &labels::sheet(&request)?)
    }

    fn write(&self, name: &str, bytes: &[u8]) -> Result<(), DemoError> {
        let path = self.folder.join(name);
        std::fs::write(&path, bytes).map_err(|source| DemoError::Io { path, source })
    }

    /// A third of the pictures have something wrong with them, one of them a tag beyond reading.
    fn trouble(number: usize, smudge: Option<usize>) -> Trouble {
        match number % 9 {
            _ if Some(number) == smudge => Trouble::Smudged,
            1 => Trouble::Turned(0.7),
            4 => Trouble::Shadowed,
            7 => Trouble::Blurred,
            _ => Trouble::None,
        }
    }

    fn intake(&mut self) -> Result<String, DemoError> {
        let mut told = Transcript::new("intake");
        // The smudge takes the place of a turned picture: a third of all still have something wrong.
        let smudge = Some(10);
        for (number, (player, pack, make)) in self.returns.clone().into_iter().enumerate() {
            let mut session = self.world.intake_session(make);
            if let Some(operator) = self.world.operators.first().copied() {
                let answer = self.world.scan(&mut session, operator.text())?;
                if number == 0 {
                    told.take(operator.text(), &answer);
                }
            }
            let trouble = Self::trouble(number, smudge);
            self.picture(
                &mut session,
                &mut told,
                &format!("intake-{:02}", number + 1),
                &[player, pack],
                trouble,
            )?;
            if trouble == Trouble::Smudged {
                // The person types what is printed under the smudge, in small letters and without hyphens.
                let typed = pack.text().to_lowercase();
                let answer = self.world.scan(&mut session, &typed)?;
                told.take(&typed, &answer);
            }
        }
        self.write("sessions/intake.txt", told.text.as_bytes())?;
        Ok(told.summary())
    }

    fn dispatch(&mut self) -> Result<String, DemoError> {
        let mut told = Transcript::new("dispatch");
        let mut session = Session::new(Dispatch::default());
        let due = day_after(self.world.scenario.demo_day, 63).to_string();
        let operator = self.world.operators.first().map(|tag| tag.text().to_owned());
        for line in operator.into_iter().chain([due]) {
            let answer = self.world.scan(&mut session, &line)?;
            told.take(&line, &answer);
        }
        for (number, (pack, player)) in self.going.clone().into_iter().enumerate() {
            let trouble = Self::trouble(number, None);
            self.picture(
                &mut session,
                &mut told,
                &format!("dispatch-{:02}", number + 1),
                &[pack, player],
                trouble,
            )?;
        }
        self.write("sessions/dispatch.txt", told.text.as_bytes())?;
        Ok(told.summary())
    }

    fn picture<W: Work>(
        &mut self,
        session: &mut Session<W>,
        told: &mut Transcript,
        name: &str,
        tags: &[Tag],
        trouble: Trouble,
    ) -> Result<(), DemoError> {
        let path = self.folder.join("pictures").join(format!("{name}.png"));
        picture::take(&path, &self.geometry, tags, trouble)?;
        let clock = &self.world.clock;
        clock.set(clock.get().plus_millis(30_000));
        let limits = Limits::default();
        let answers = session.picture(&mut self.world.ledger, &mut self.world.desk, &path, &limits)?;
        self.pictures += 1;
        self.read.0 += answers.len().saturating_sub(1);
        self.read.1 += tags.len();
        for (place, (scan, mut answer)) in answers.into_iter().enumerate() {
            let scan = if place == 0 { format!("pictures/{name}.png") } else { scan };
            // The folder's own path does not belong into a transcript that is the same everywhere.
            let here = self.folder.display().to_string();
            for line in &mut answer.text {
                *line = line.replace(&format!("{here}/"), "");
            }
            told.take(&scan, &answer);
        }
        Ok(())
    }

    /// The ferry takes dead packs along.
    fn clear(&mut self) -> Result<String, DemoError> {
        let mut told = Transcript::new("consignment");
        clearing::clear(&mut self.world, |scan, answer| told.take(scan, answer))?;
        self.write("sessions/consignment.txt", told.text.as_bytes())?;
        let manifest = consignment::manifest(&mut self.world.ledger, Some(clearing::NAME))?;
        self.write("consignment.pdf", &crate::print::consignment::paper(&manifest, PageSize::A4)?)?;
        Ok(told.summary())
    }

    /// The afternoon's post: the maker's letter becomes a safety notice.
    fn notice(&mut self) -> Result<(), DemoError> {
        let letter = self.world.scenario.notice.clone();
        let clock = &self.world.clock;
        clock.set(clock.get().plus_millis(3 * 3_600_000));
        let covers = Named { lot: Some(letter.lot), ..Named::default() };
        let mut here = Here { ledger: &mut self.world.ledger, desk: &mut self.world.desk };
        notice::issue(&mut here, &covers, letter.verdict, &letter.text)?;
        Ok(())
    }

    fn finish(mut self, ledger: PathBuf, sessions: Vec<String>) -> Result<Made, DemoError> {
        self.notice()?;
        let now = self.world.clock.get();
        let month = Month::of(self.world.scenario.demo_day);
        let review = review::review(
            &mut self.world.ledger,
            &Asked { month, now, all_lines: true, kept: None },
            |_| (),
        )?;
        self.write("review.pdf", &crate::print::review::paper(&review, PageSize::A4)?)?;
        self.write("review.html", crate::print::review::page(&review)?.as_bytes())?;
        self.world.ledger.settle()?;
        let entries = review.heads.iter().map(|head| head.number).sum();
        Ok(Made {
            ledger,
            packs: review.packs,
            entries,
            pictures: self.pictures,
            read: self.read,
            review,
            sessions,
        })
    }
}

/// A session as it is told: every scan and its answer.
struct Transcript {
    name: &'static str,
    text: String,
    yes: usize,
    no: usize,
    unclear: usize,
}

impl Transcript {
    const fn new(name: &'static str) -> Self {
        Self { name, text: String::new(), yes: 0, no: 0, unclear: 0 }
    }

    fn take(&mut self, scan: &str, answer: &Answer) {
        self.text.push_str("> ");
        self.text.push_str(scan);
        for line in answer.lines() {
            self.text.push('\n');
            self.text.push_str(&line);
        }
        self.text.push('\n');
        match answer.outcome {
            Outcome::Yes => self.yes += 1,
            Outcome::No => self.no += 1,
            Outcome::Unclear => self.unclear += 1,
        }
    }

    fn summary(&self) -> String {
        format!("{}: {} answers yes, {} no, {} unclear", self.name, self.yes, self.no, self.unclear)
    }
}
