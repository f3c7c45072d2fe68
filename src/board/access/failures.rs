//! Wrong tokens are counted by the address that sent them: guessing is slowed down, and nobody else is kept out.

use crate::time::{At, MINUTE};
use std::collections::BTreeMap;
use std::net::{IpAddr, Ipv6Addr};

/// Wrong tokens that an address may send in a while.
const ALLOWED: u32 = 10;
/// The while.
const WHILE: i64 = 10 * MINUTE;
/// Addresses that are remembered; when there are more, those of long ago are forgotten first.
const REMEMBERED: usize = 1_000;

/// The failures of the last while.
#[derive(Debug, Default)]
pub(super) struct Failures(BTreeMap<IpAddr, (At, u32)>);

impl Failures {
    /// How many milliseconds an address has to wait; `None` where it need not.
    pub(super) fn wait(&self, from: IpAddr, now: At) -> Option<i64> {
        let (begun, count) = self.0.get(&network(from))?;
        let left = *begun + WHILE - now;
        (*count >= ALLOWED && left > 0).then_some(left)
    }

    /// Counts a wrong token.
    pub(super) fn count(&mut self, from: IpAddr, now: At) {
        let (begun, count) = self.0.entry(network(from)).or_insert((now, 0));
        if now - *begun >= WHILE {
            (*begun, *count) = (now, 0);
        }
        *count += 1;
        if self.0.len() > REMEMBERED {
            self.0.retain(|_, (begun, _)| now - *begun < WHILE);
            while self.0.len() > REMEMBERED {
                let Some(oldest) = self.0.iter().min_by_key(|(_, (begun, _))| *begun).map(|(from, _)| *from) else {
                    break;
                };
                self.0.remove(&oldest);
            }
        }
    }
}

/// One machine can have all addresses of a /64 (RFC 6177): they count as one.
fn network(from: IpAddr) -> IpAddr {
    match from {
        IpAddr::V4(_) => from,
        IpAddr::V6(address) => match address.to_ipv4_mapped() {
            Some(mapped) => mapped.into(),
            None => Ipv6Addr::from(u128::from(address) >> 64 << 64).into(),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whoever_guesses_has_to_wait_and_nobody_else() {
        let (mut failures, now) = (Failures::default(), At(1_780_000_000_000));
        let [one, other]: [IpAddr; 2] = ["2001:db8::1", "192.0.2.1"].map(|text| text.parse().expect("an address"));
        for k in 0..i64::from(ALLOWED) {
            assert_eq!(failures.wait(one, now + k), None);
            failures.count(one, now + k);
        }
        assert_eq!(failures.wait(one, now + MINUTE), Some(9 * MINUTE));
        assert_eq!(failures.wait("2001:db8::2".parse().expect("an address"), now), Some(WHILE));
        assert_eq!(failures.wait(other, now), None);
        assert_eq!(failures.wait(one, now + WHILE), None);
    }

    #[test]
    fn memory_stays_bounded_however_many_addresses_guess() {
        let mut failures = Failures::default();
        for k in 0..5_000_u32 {
            failures.count(IpAddr::from(k.to_be_bytes()), At(i64::from(k)));
        }
        assert_eq!(failures.0.len(), REMEMBERED);
    }
}
