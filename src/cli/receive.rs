//! `packmuster receive`.

use jiff::civil::Date;

use crate::app::receive::{Delivery, Receive};
use crate::app::session::Here;

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::output;
use super::session::{self, Scans};

/// Receive new packs: stick a fresh tag on each and scan it in
///
/// The packs of a carton wait until the policy's sample of it is read. A foreign code scanned after a pack is bound to it. Give
/// the same lot again to go on with it later.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example: packmuster receive --make 'Kestrel 1100' --lot 2026-11 --ref PO-1187 --cartons 2 --count 48"
)]
pub(super) struct Args {
    #[command(flatten)]
    scans: Scans,
    /// The make of the packs
    #[arg(long, value_name = "NAME")]
    make: Option<String>,
    /// A name for the lot
    #[arg(long, value_name = "NAME")]
    lot: String,
    /// The supplier's reference
    #[arg(long = "ref", value_name = "TEXT", default_value = "")]
    supplier_ref: String,
    /// How many cartons; 0 for loose packs
    #[arg(long, value_name = "N", default_value_t = 0, value_parser = clap::value_parser!(u32).range(0..=1000))]
    cartons: u32,
    /// How many packs in each carton
    #[arg(long, value_name = "N", default_value_t = 0, value_parser = clap::value_parser!(u32).range(0..=10_000))]
    count: u32,
    /// The maker's date on the carton
    #[arg(long, value_name = "DATE")]
    made: Option<Date>,
}

pub(super) fn run(context: &mut Context, args: Args) -> Result<Exit, CliError> {
    let mut ledger = context.write()?;
    let mut desk = context.staffed_desk(&mut ledger)?;
    let delivery = Delivery {
        make: args.make,
        lot: args.lot,
        supplier_ref: args.supplier_ref,
        cartons: args.cartons,
        count: args.count,
        made: args.made,
    };
    let (work, answer) = Receive::begin(&mut Here { ledger: &mut ledger, desk: &mut desk }, &delivery)?;
    if context.globals.json {
        output::json(&answer)?;
    } else {
        output::lines(&answer.lines())?;
    }
    session::run(context, &mut ledger, &mut desk, work, &args.scans)
}
