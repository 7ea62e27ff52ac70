//! All claims of one host, in the order in which they were first heard.
//!
//! Nearly every host has one or two. One that answers for a whole subnet has thousands, and each sighting of it is
//! looked up several times: then the places are kept beside them, or every sighting would go through all.

use std::collections::HashMap;
use std::net::Ipv4Addr;
use std::ops::{Deref, DerefMut};

use foldhash::fast::RandomState;

use crate::hosts::claim::Claim;

/// So many are looked through one by one.
const FEW: usize = 16;

/// The claims.
#[derive(Debug, Clone, Default)]
pub(crate) struct Claims {
    list: Vec<Claim>,
    /// Where each stands in the list, where there are more than a few.
    places: Option<HashMap<Ipv4Addr, usize, RandomState>>,
}

impl Claims {
    /// Where the one to `address` stands.
    fn place(&self, address: Ipv4Addr) -> Option<usize> {
        match &self.places {
            Some(places) => places.get(&address).copied(),
            None => self.list.iter().position(|c| c.address == address),
        }
    }

    /// The one to `address`.
    pub(crate) fn to(&self, address: Ipv4Addr) -> Option<&Claim> {
        self.list.get(self.place(address)?)
    }

    /// The one to `address`, to be changed; its address stays what it is.
    pub(crate) fn to_mut(&mut self, address: Ipv4Addr) -> Option<&mut Claim> {
        let place = self.place(address)?;
        self.list.get_mut(place)
    }

    /// Adds one to an address that has none yet.
    pub(crate) fn push(&mut self, claim: Claim) {
        if let Some(places) = &mut self.places {
            places.insert(claim.address, self.list.len());
        }
        self.list.push(claim);
        if self.places.is_none() && self.list.len() > FEW {
            self.note_places();
        }
    }

    /// Takes the one to `address` out.
    pub(crate) fn remove(&mut self, address: Ipv4Addr) {
        let Some(place) = self.place(address) else { return };
        self.list.remove(place);
        if self.places.is_some() {
            self.note_places();
        }
    }

    fn note_places(&mut self) {
        let places = self
            .list
            .iter()
            .enumerate()
            .map(|(at, claim)| (claim.address, at));
        self.places = (self.list.len() > FEW).then(|| places.collect());
    }
}

impl Deref for Claims {
    type Target = [Claim];

    fn deref(&self) -> &[Claim] {
        &self.list
    }
}

impl DerefMut for Claims {
    fn deref_mut(&mut self) -> &mut [Claim] {
        &mut self.list
    }
}

impl<'a> IntoIterator for &'a Claims {
    type Item = &'a Claim;
    type IntoIter = std::slice::Iter<'a, Claim>;

    fn into_iter(self) -> Self::IntoIter {
        self.list.iter()
    }
}

impl<'a> IntoIterator for &'a mut Claims {
    type Item = &'a mut Claim;
    type IntoIter = std::slice::IterMut<'a, Claim>;

    fn into_iter(self) -> Self::IntoIter {
        self.list.iter_mut()
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use vocab::Moment;

    use super::*;
    use crate::Proof;

    proptest! {
        /// The same as a list that is looked through, whatever is put in and taken out.
        #[test]
        fn it_agrees_with_a_plain_list(steps in prop::collection::vec((prop::bool::weighted(0.7), 0_u8..40), 0..120)) {
            let mut claims = Claims::default();
            let mut list: Vec<Ipv4Addr> = Vec::new();
            for (put, n) in steps {
                let address = Ipv4Addr::new(10, 40, 8, n);
                if put && !list.contains(&address) {
                    claims.push(Claim::new(address, Moment::ZERO, Proof::Real));
                    list.push(address);
                } else if !put {
                    claims.remove(address);
                    list.retain(|a| *a != address);
                }
                prop_assert!(claims.iter().map(|c| c.address).eq(list.iter().copied()));
                for n in 0..40 {
                    let address = Ipv4Addr::new(10, 40, 8, n);
                    let found = claims.to(address).map(|c| c.address);
                    prop_assert_eq!(found, list.contains(&address).then_some(address));
                    prop_assert_eq!(claims.to_mut(address).map(|c| c.address), found);
                }
            }
        }
    }
}
