//! The watch over one slot of the bench: does it read what is foretold, and if not, since when and by how much?
//!
//! Each reading comes with what was foretold of that pack and the spread of the difference, which holds the slot's own noise and how
//! well the pack was known. The difference over that spread, `z`, has mean 0 and standard deviation 1 in a good slot. Two charts look
//! at it: a [`super::cusum`] and an [`super::ewma`] with the limits of the long run. Either of them alarms.
//!
//! Two charts alarm more often than one. With the settings of [`watch::SlotRules::default`] each alone would run 630 (CUSUM) and 652
//! (EWMA) readings between false alarms ([`super::arl`]); together they run 472, from 100,000 simulated slots. All of it hangs on the
//! spread: foretold a tenth too small, it is 216. A shift of one spread is found after 10.3 readings on average, of 1.9 after 4.2. That
//! is little sooner than a CUSUM alone that alarms as rarely (10.4 and 4.3): the average is there to be looked at as much as to alarm.
//!
//! One wild reading is more likely a failed pack than a shifted slot, so `z` is cut to a cap for the charts, and with the
//! default cap no reading alone can take them from 0 beyond their limits. After an alarm the slot is biased until a third sum, the CUSUM's mirror, says that
//! readings are back: `max(0, back + k - z)` above `h`, for a shift of `2 k` or more. Then both charts start from 0.
//! A slot that stays one spread off is so called good once in some 1,200 readings, one that stays three quarters off once in 180.
//!
//! What was foretold must not rest on readings of the same slot: its bias would hide in it. Nothing is decided here: what becomes of a
//! biased slot, and of packs it has read, is for others to say.

pub mod bench;
pub mod bias;
pub mod watch;
