//! Something that may be so for a while.

/// How long something has been outside, short returns included.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Excursion {
    /// Since it began, up to the latest reading outside; 0: it is inside.
    outside_ms: u32,
    /// Inside since then.
    inside_ms: u32,
}

impl Excursion {
    pub(super) const NONE: Self = Self { outside_ms: 0, inside_ms: 0 };

    /// For how long it has been outside.
    pub(super) const fn is_longer_than(&self, ms: u32) -> bool {
        self.outside_ms > ms
    }

    /// Whether it is outside and has been for longer than `grace_ms`. `None`: not known, so not back.
    pub(super) fn lasts(
        &mut self,
        is_outside: Option<bool>,
        ms: u32,
        back_ms: u32,
        grace_ms: u32,
    ) -> bool {
        match is_outside {
            Some(true) => {
                let all = self.outside_ms.saturating_add(self.inside_ms).saturating_add(ms);
                *self = Self { outside_ms: all, inside_ms: 0 };
                all > grace_ms
            }
            Some(false) => {
                self.inside_ms = self.inside_ms.saturating_add(ms);
                if self.outside_ms == 0 || self.inside_ms >= back_ms {
                    *self = Self::NONE;
                }
                false
            }
            None => {
                if self.outside_ms > 0 {
                    self.outside_ms = self.outside_ms.saturating_add(ms);
                }
                false
            }
        }
    }
}
