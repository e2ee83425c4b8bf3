//! Arbitrary bytes as files and arbitrary pixels as pictures, for as long as is wanted: nothing may panic, hang or grow.

use std::time::{Duration, Instant};

use image::codecs::jpeg::JpegEncoder;
use image::codecs::webp::WebPEncoder;
use image::{ExtendedColorType, GrayImage, ImageEncoder, ImageFormat, Luma};
use packmuster::scan::picture::{self, Limits, Want};
use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;

use super::scene;
use super::table::cpu;
use crate::Outcome;

/// What one picture may take, and by how much the search may overrun it: one descent and one search of the decoder library.
const BUDGET: Duration = Duration::from_millis(300);
const OVERRUN: Duration = Duration::from_secs(10);
/// Pictures between two looks at the memory.
const ROUND: u64 = 500;
/// By how much the memory may grow once it has settled.
const GROWTH: u64 = 64 << 20;

/// Fuzzes for so many seconds of processor time.
pub(crate) fn run(seconds: f64, seed: u64) -> Outcome<()> {
    let mut random = ChaCha12Rng::seed_from_u64(seed);
    let limits = Limits { pixels: 4_000_000, budget: BUDGET, want: Want::All };
    let (begun, mut done, mut read, mut refused, mut longest) = (cpu(), 0_u64, 0_u64, 0_u64, 0.0_f64);
    let mut settled = None;
    while cpu() - begun < seconds * 1e3 {
        let (start, spent) = (Instant::now(), cpu());
        if random.random_bool(0.5) {
            match picture::read_bytes(&file(&mut random)?, "fuzz", &limits) {
                Ok(picture) => read += u64::from(!picture.found.is_empty()),
                Err(error) => refused += u64::from(!error.hint().is_empty()),
            }
        } else {
            let picture = picture::read_grey(&pixels(&mut random), &limits);
            read += u64::from(!picture.found.is_empty());
        }
        let took = start.elapsed();
        longest = longest.max(cpu() - spent);
        if took > BUDGET + OVERRUN {
            return Err(format!("picture {done} of seed {seed} took {took:?}").into());
        }
        done += 1;
        if done % ROUND == 0 {
            let now = resident()?;
            let first = *settled.get_or_insert(now);
            if done > 4 * ROUND && now > first + GROWTH {
                return Err(
                    format!("from {first} to {now} bytes after {done} pictures of seed {seed}").into()
                );
            }
        }
    }
    crate::say(&format!(
        "fuzzed with seed {seed}: {done} pictures in {:.0} s of processor time, {refused} refused, {read} with a symbol; \
         longest {longest:.0} ms, memory {} MB",
        (cpu() - begun) / 1e3,
        resident()? >> 20
    ))
}

/// Memory in use.
fn resident() -> Outcome<u64> {
    let status = std::fs::read_to_string("/proc/self/status")?;
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:")).ok_or("no VmRSS line")?;
    let kilobytes: u64 = line.trim().trim_end_matches("kB").trim().parse()?;
    Ok(kilobytes << 10)
}

/// A picture of a label, so that what is spoilt is spoilt deep inside.
fn sample(random: &mut ChaCha12Rng) -> GrayImage {
    scene::label(&scene::tag(random), 3 + random.next_u32() % 3)
}

/// A file: noise, or a true one with bytes changed, cut, doubled or left out.
fn file(random: &mut ChaCha12Rng) -> Outcome<Vec<u8>> {
    let mut bytes = Vec::new();
    let image = sample(random);
    match random.next_u32() % 4 {
        0 => {
            bytes.resize(usize::try_from(random.next_u32() % 5000)?, 0);
            random.fill_bytes(&mut bytes);
            return Ok(bytes);
        }
        1 => image.write_with_encoder(JpegEncoder::new_with_quality(&mut bytes, 80))?,
        2 => image.write_to(&mut std::io::Cursor::new(&mut bytes), ImageFormat::Png)?,
        _ => {
            let rgb: Vec<u8> = image.as_raw().iter().flat_map(|&grey| [grey; 3]).collect();
            let encoder = WebPEncoder::new_lossless(&mut bytes);
            encoder.write_image(&rgb, image.width(), image.height(), ExtendedColorType::Rgb8)?;
        }
    }
    for _ in 0..random.next_u32() % 12 {
        let place = random.random_range(0..bytes.len().max(1));
        match random.next_u32() % 8 {
            0 => bytes.truncate(place),
            1 => {
                let part: Vec<u8> = bytes.iter().skip(place).take(64).copied().collect();
                bytes.splice(place..place, part);
            }
            2 => drop(bytes.drain(place..(place + 32).min(bytes.len()))),
            // A length or a size.
            3 => bytes.iter_mut().skip(place).take(4).for_each(|byte| *byte = 0xFF),
            _ => bytes.iter_mut().skip(place).take(1).for_each(|byte| *byte = 0),
        }
        let byte = u8::try_from(random.next_u32() % 256)?;
        bytes.iter_mut().skip(place).take(1).for_each(|old| *old ^= byte);
    }
    Ok(bytes)
}

/// Pixels: noise of a grain, a chessboard, stripes, rings, or a label with patches of those; of any shape.
fn pixels(random: &mut ChaCha12Rng) -> GrayImage {
    let (width, height) = (1 + random.next_u32() % 500, 1 + random.next_u32() % 400);
    let grain = 1 + random.next_u32() % 12;
    let kind = random.next_u32() % 5;
    let noise: Vec<u8> = (0..4096).map(|_| random.random()).collect();
    let at = |x: u32, y: u32| -> u8 {
        let (u, v) = (x / grain, y / grain);
        let light = match kind {
            0 => {
                let place = usize::try_from((u.wrapping_mul(31) ^ v.wrapping_mul(1009)) % 4096).unwrap_or(0);
                return noise.get(place).copied().unwrap_or(0);
            }
            1 => (u + v) % 2 == 0,
            2 => u % 2 == 0,
            // Finder patterns side by side, and one in the other.
            3 => (u % 9).abs_diff(4).max((v % 9).abs_diff(4)) == 2 || u % 9 == 8 || v % 9 == 8,
            _ => u.abs_diff(width / grain / 2).max(v.abs_diff(height / grain / 2)) % 2 == 0,
        };
        if light { 230 } else { 25 }
    };
    let mut image = GrayImage::from_fn(width, height, |x, y| Luma([at(x, y)]));
    if random.random_bool(0.5) {
        let label = sample(random);
        let place = |most: u32, random: &mut ChaCha12Rng| i64::from(random.next_u32() % most.max(1)) - 20;
        let (x, y) = (place(width, random), place(height, random));
        image::imageops::replace(&mut image, &label, x, y);
        for _ in 0..random.next_u32() % 400 {
            let (x, y) = (random.next_u32() % width, random.next_u32() % height);
            image.put_pixel(x, y, Luma([random.random()]));
        }
    }
    image
}
