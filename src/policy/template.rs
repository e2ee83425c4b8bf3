//! The policy text with which a ledger starts: every setting, each with a comment that says what it does and where its
//! default comes from.

use std::fmt::Write as _;

/// The few answers that shape a first policy.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answers {
    /// The service's name, for the title line.
    pub service: String,
    /// The limit line for packs that were lent before: `hours = 16` or `mAh = 650`.
    pub service_limit: String,
    /// The limit line for packs that were never lent.
    pub new_limit: String,
    /// Per cent of rated capacity that a new pack must hold besides its limit.
    pub new_percent: u32,
    /// Per cent of rated capacity that a pack in service must hold besides its limit.
    pub service_percent: u32,
    /// Packs to read of every carton.
    pub sample: u32,
    /// `cartons-word` or `reading-each`.
    pub rest: &'static str,
    /// Rounds for new packs and for packs in service.
    pub rounds: (u32, u32),
}

impl Answers {
    /// Default answers for a service that promises some hours of play (a number as TOML writes it).
    ///
    /// A new pack must hold its rated capacity: IEC 61951-2 and IEC 61960-3 define the rated capacity as what a new cell
    /// gives at 0.2 It (seen in public summaries). A pack in service ends at 60 % of rated, the end of endurance in
    /// IEC 61951-2 (from memory), or at the promise, whichever is more.
    pub fn for_promise(service: &str, hours: &str) -> Self {
        Self {
            service: service.to_owned(),
            service_limit: format!("hours = {hours}"),
            new_limit: format!("hours = {hours}"),
            new_percent: 100,
            service_percent: 60,
            sample: 6,
            rest: "reading-each",
            rounds: (2, 2),
        }
    }

    /// The policy text.
    pub fn text(&self) -> String {
        let mut text = String::new();
        let _infallible = write!(
            text,
            r#"# The policy of {service}.
# Change it with any text editor, then run `packmuster policy adopt`. The ledger keeps every policy it was ever given,
# and every verdict names the one it was given under.

# What a pack must hold. Give each limit in hours of play (the charge follows from the player's mean draw) or in mAh,
# never both. `percent_of_rated` is a floor besides it: the stricter of the two counts; 0 means none.
[limits.new]                 # packs that were never lent
{new_limit}
percent_of_rated = {new_percent}       # rated capacity is what a new cell gives at 0.2 It (IEC 61951-2, IEC 61960-3)
rounds = {new_rounds}                   # reconditioning rounds at most; then the pack is defective
cycles_per_round = 3

[limits.service]             # packs that were lent at least once
{service_limit}
percent_of_rated = {service_percent}        # end of endurance in IEC 61951-2 (60 %, from memory)
rounds = {service_rounds}                   # reconditioning rounds at most since the last return
cycles_per_round = 3

# What each finding leads to. This rule and `identity` cannot be switched off.
[rules.finding]
swollen = "isolate"
leaking = "isolate"
cracked = "isolate"
hot = "isolate"
corroded_contacts = "measure"   # clean the contacts first

[rules.notice]               # safety notices
on = true

[rules.carton]               # new cartons wait until a sample of each is read
on = true
sample = {sample}                   # packs to read of every carton
accept = 0                   # it is good enough with so many bad ones among them (`packmuster sampling` finds such plans)
rest = "{rest}"        # after a good sample: "reading-each", or "cartons-word" to let the rest go unread
if_short = "test-all"        # a carton that falls short: "test-all" measures every pack, "send-back" holds it for the supplier
only_drawn = false           # true, or accept above 0, or "send-back": only the packs drawn as the sample count for their carton
plan = "house"               # or a plan that is settled when a carton is opened, for its size, always of drawn packs:
                             #   "standard": MIL-STD-105E (ISO 2859-1) for the next three settings; severity switches by what cartons did
quality_percent = 4.0
level = "II"
double = false
                             #   "points": the smallest sample that stops a good carton and accepts a bad one no more often than this;
                             #   "variables": the same by what each pack holds (k method, for capacities that are normal)
good_percent = 2.0
producer_percent = 5.0
bad_percent = 15.0
consumer_percent = 10.0

[rules.unmeasured]           # no reading since the last return or round
on = true

[rules.stale]                # a reading is too old
on = true
days = 90

[rules.charge]               # too long ago, or too little left of it: charge it in a player, a slot is too precious
on = true
days = 30
nickel_keeps_percent = 60    # of a full charge over 28 days at 20 degrees: the least that IEC 61951-2 asks of a new cell
lithium_keeps_percent = 70   # likewise IEC 61960-3 (both from memory); the maker's sheet knows better; 100 = not counted

[rules.capacity]             # the reading against the limit
on = true
second_reading_within_percent = 3   # this near the limit, one reading on one slot does not condemn

[rules.doubt]                # a reading too near the limit for its uncertainty, once a model is learnt
on = true
wrong_pass_percent = 25      # the most risk that a pack that passed truly holds less (specific risk, JCGM 106)
wrong_fail_percent = 25      # the most risk that a pack that failed truly holds its limit
hours_per_week = 40          # bench hours for second readings; the doubtful first

[rules.forecast]             # likely to fall below the limit before the loan ends, once a model is learnt
on = true
chance_percent = 10          # a pack whose chance is higher does not go out for that long

[rules.worth]                # is a round worth its hours, or is a new pack the better buy
on = false
price = 12                   # of a new pack, in any money
hour_hundredths = 20         # what an hour of a slot costs, in hundredths of that money

[rules.cycles]               # equivalent full cycles
on = true
cycles = 500                 # common endurance class of nickel-metal hydride cells (from memory)

[rules.age]                  # years since the maker's date, where it is known
on = false
years = 8

[rules.resistance]           # internal resistance against the make's figure, where both are known
on = true
percent_of_make = 100

[rules.reported]             # cut out early on its last loan, no reading since
on = true

[rules.refused]              # no result in several slots, for reasons that may lie with the pack
on = true
slots = 2

[bench]
close_slot_after = 3         # runs in a row without a result: the slot takes no more packs until it is serviced
test_hours = 8               # how long a test takes
cycle_hours = 16             # how long a full charge/discharge cycle of a round takes
slot_tolerance_percent = 1   # of a pack's rated capacity: a slot that reads further off is out of control (slot check)
attended = ["mon-fri 09:00-17:00"]   # when people are there to put packs in and take them out; local time

[buying]                     # what `ahead` says is to be bought
lead_days = 42               # from an order until its packs may go out
growth_percent_per_year = 0  # by how much the lending grows, in per cent of what it is now
service_level_percent = 95   # the chance that there are packs enough
ready_stock = 5              # packs of each make that are to stand ready beside those in use

[use]                        # how use is estimated when nobody gives the player's hours
hours_per_day = 2.0

[plausible]                  # readings outside are asked for again before they count
above_rated_percent = 130
below_rated_percent = 5
jump_percent = 35            # from the pack's last reading, in per cent of rated

[review]
near_percent = 10            # this near a limit, a pack is near its end
lost_after_days = 180        # a pack that should be here and that nobody saw for so long counts as lost
rows = 200                   # rows of each list on paper and as a page; `review --csv` and `--json` hold all

[waste]                      # packs at their end; local rules and your licensed carrier decide, these figures only help
rules = "40 CFR 273 (universal waste, USA)"   # the rule set that they come from; elsewhere, name your own and its figures
accumulate_days = 365        # how long waste may be kept: one year (40 CFR 273.35; 273.15 from memory)
warn_days = 30               # so long before that it is told
handler_limit_kg = 5000      # less than this may be kept at any time (small quantity handler, 40 CFR 273.9)
label = "Universal Waste-Battery(ies)"   # the words on each box (40 CFR 273.14(a))
cell_wh = 20                 # lithium ion: lighter rules up to this energy of a cell, and of a pack (49 CFR 173.185(c))
battery_wh = 100

[waste.un]                   # UN numbers (UN3496: by vessel, in certain quantities; the others from memory)
nimh = "UN3496"
nicd = ""                    # sealed packs have none of their own
li_ion = "UN3480"
lead_acid = "UN2800"         # wet, but cannot spill

[loans]
longest_days = 400           # a due date beyond this is asked again
keep_reference_days = 90     # how long the reference of a loan that has ended is kept: a complaint must still find it
"#,
            service = self.service,
            new_limit = self.new_limit,
            new_percent = self.new_percent,
            new_rounds = self.rounds.0,
            service_limit = self.service_limit,
            service_percent = self.service_percent,
            service_rounds = self.rounds.1,
            sample = self.sample,
            rest = self.rest,
        );
        text
    }
}
