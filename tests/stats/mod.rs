//! The statistics against published values, handbooks and simulated fleets.

mod clocks;
mod few;
mod forecasts;
mod guard;
mod life;
mod lift;
mod mixed;
mod reference;
mod robust;
mod sampling;
mod world;
