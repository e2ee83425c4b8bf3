//! Gauge repeatability and reproducibility: how much of what differs between readings is the bench, and how much the packs.
//!
//! A planned study: some parts (packs), each read several times by each operator (in each slot of the bench), all crossed and equally
//! often. [`study`] takes the readings and says what is missing; [`anova`] splits their sum of squares; [`components`] turns that
//! into variances, shares, the number of classes that the bench can tell apart, and each operator's bias.
//!
//! Two-way analysis of variance with both factors taken as drawn at random (Montgomery, "Introduction to Statistical Quality Control",
//! chapter 8; AIAG, "Measurement Systems Analysis", appendix A; both from memory). F of parts and operators is taken on the
//! interaction; books differ there, so the one on repeatability is given too. Where the interaction does not show, it is pooled with
//! repeatability. Components below 0 are set to 0. Not for nested studies, in which each slot has packs of its own, and not for readings
//! that wear the pack between the first and the last.

pub mod anova;
pub mod components;
pub mod layout;
pub mod study;
