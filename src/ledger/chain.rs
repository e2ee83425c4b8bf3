//! The hash chain: each entry's hash covers the hash before it, a length-prefixed header and the stored body bytes.

use sha2::{Digest, Sha256};

/// The hash before a writer's first entry.
pub const GENESIS: [u8; 32] = [0; 32];

/// The parts of an entry that its hash covers, as they are stored.
#[derive(Debug, Clone, Copy)]
pub struct Link<'a> {
    /// The writer's UUID.
    pub writer: &'a [u8; 16],
    /// The entry's number.
    pub number: u64,
    /// The hybrid logical clock.
    pub clock: i64,
    /// Milliseconds since 1970 at which it was recorded.
    pub recorded: i64,
    /// The desk.
    pub desk: &'a str,
    /// The operator's initials.
    pub operator: &'a str,
    /// The act's UUID.
    pub act: &'a [u8; 16],
    /// The kind's stored name.
    pub kind: &'a str,
    /// The stored body.
    pub body: &'a str,
}

impl Link<'_> {
    /// SHA-256 over: the previous hash; writer, number, clock, recorded (big-endian); desk, operator (each behind its length in
    /// bytes as 32 bits big-endian); act; kind, body (likewise).
    ///
    /// The vector below was computed with Python's `hashlib` and `struct` from this description.
    ///
    /// ```
    /// use packmuster::ledger::chain::{GENESIS, Link};
    /// let link = Link {
    ///     writer: &[1; 16], number: 1, clock: 65_536, recorded: 1, desk: "north", operator: "MK", act: &[2; 16],
    ///     kind: "charge", body: r#"{"v":1}"#,
    /// };
    /// let hex: String = link.hash(&GENESIS).iter().map(|byte| format!("{byte:02x}")).collect();
    /// assert_eq!(hex, "684de52ea8e8468200c150a7ae6459334272743a649d381d2ca1baf9c08b683c");
    /// ```
    pub fn hash(&self, previous: &[u8; 32]) -> [u8; 32] {
        let mut hasher = Sha256::new();
        hasher.update(previous);
        hasher.update(self.writer);
        hasher.update(self.number.to_be_bytes());
        hasher.update(self.clock.to_be_bytes());
        hasher.update(self.recorded.to_be_bytes());
        text(&mut hasher, self.desk);
        text(&mut hasher, self.operator);
        hasher.update(self.act);
        text(&mut hasher, self.kind);
        text(&mut hasher, self.body);
        hasher.finalize().into()
    }
}

fn text(hasher: &mut Sha256, text: &str) {
    hasher.update(u32::try_from(text.len()).unwrap_or(u32::MAX).to_be_bytes());
    hasher.update(text.as_bytes());
}

/// A hash in hex.
pub fn hex(hash: &[u8]) -> String {
    use std::fmt::Write as _;
    hash.iter().fold(String::with_capacity(hash.len() * 2), |mut text, byte| {
        let _infallible = write!(text, "{byte:02x}");
        text
    })
}
