//! The behaviour of packmuster, by subject.

#[cfg(test)]
mod ahead;
#[cfg(test)]
mod consignment;
#[cfg(test)]
mod corrections;
#[cfg(test)]
mod day;
#[cfg(test)]
mod demo;
#[cfg(test)]
mod discharge;
#[cfg(test)]
mod durable;
#[cfg(test)]
mod help;
#[cfg(test)]
mod import;
#[cfg(test)]
mod judge;
#[cfg(test)]
mod kept;
#[cfg(test)]
mod layers;
#[cfg(test)]
mod ledger;
#[cfg(test)]
mod lists;
#[cfg(test)]
mod model;
#[cfg(test)]
mod muster;
#[cfg(test)]
mod past;
#[cfg(test)]
mod pick;
#[cfg(test)]
mod plan;
#[cfg(test)]
mod print;
#[cfg(test)]
mod printing;
#[cfg(test)]
mod readme;
#[cfg(test)]
mod review;
#[cfg(test)]
mod sampling;
#[cfg(test)]
mod sandbox;
#[cfg(test)]
mod scan;
#[cfg(test)]
mod slips;
#[cfg(test)]
mod slots;
#[cfg(test)]
mod stats;
#[cfg(test)]
mod waste;
#[cfg(test)]
mod week;
#[cfg(test)]
mod yard;
