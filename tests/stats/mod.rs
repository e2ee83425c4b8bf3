//! The statistics against published values, handbooks and simulated fleets.

mod bench;
mod clocks;
mod control;
mod discharge;
mod few;
mod forecasts;
mod gauge;
mod guard;
mod life;
mod lift;
mod mixed;
mod queue;
mod reference;
mod robust;
mod sampling;
mod scipy;
mod world;
