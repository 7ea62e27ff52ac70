//! A small assembler for classic BPF, so that a filter reads as text and its jumps cannot miss.
//!
//! Codes as in the kernel's `linux/bpf_common.h`. Every conditional jump goes no further than the
//! next instruction; far targets are reached by an unconditional one, whose reach is 32 bits.

use super::filter::Instruction;

/// What one instruction does.
#[derive(Debug, Clone, Copy)]
pub(super) enum Op {
    /// A = the byte at this offset.
    LoadByte(u32),
    /// A = the two bytes there.
    LoadHalf(u32),
    /// A = the four bytes there.
    LoadWord(u32),
    /// A = the byte at X and this offset.
    LoadByteAtX(u32),
    /// A = the two bytes there.
    LoadHalfAtX(u32),
    /// X = the length of the IPv4 header that begins at this offset.
    HeaderLengthToX(u32),
    /// X = A.
    ToX,
    /// A = X.
    FromX,
    /// Keep so many bytes; 0 drops the frame. A load beyond the frame's end drops it too.
    Return(u32),
}

#[derive(Debug, Default)]
pub(super) struct Assembler {
    done: Vec<Instruction>,
    /// Jumps to be filled in: their places and targets.
    open: Vec<(usize, &'static str)>,
    labels: Vec<(&'static str, usize)>,
}

const JUMP: u16 = 0x05;
const JUMP_EQUAL: u16 = 0x15;
const JUMP_BITS: u16 = 0x45;

impl Assembler {
    /// Adds an instruction.
    pub(super) fn put(&mut self, op: Op) {
        let (code, k) = match op {
            Op::LoadWord(k) => (0x20, k),
            Op::LoadHalf(k) => (0x28, k),
            Op::LoadByte(k) => (0x30, k),
            Op::LoadHalfAtX(k) => (0x48, k),
            Op::LoadByteAtX(k) => (0x50, k),
            Op::HeaderLengthToX(k) => (0xb1, k),
            Op::ToX => (0x07, 0),
            Op::FromX => (0x87, 0),
            Op::Return(k) => (0x06, k),
        };
        self.done.push((code, 0, 0, k));
    }

    /// Goes to `label` if A is `k`.
    pub(super) fn jump_if_equal(&mut self, k: impl Into<u32>, label: &'static str) {
        self.done.push((JUMP_EQUAL, 0, 1, k.into()));
        self.jump(label);
    }

    /// Goes to `label` unless A is `k`.
    pub(super) fn jump_unless_equal(&mut self, k: impl Into<u32>, label: &'static str) {
        self.done.push((JUMP_EQUAL, 1, 0, k.into()));
        self.jump(label);
    }

    /// Goes to `label` if A has any of the bits of `k`.
    pub(super) fn jump_if_bits(&mut self, k: u32, label: &'static str) {
        self.done.push((JUMP_BITS, 0, 1, k));
        self.jump(label);
    }

    /// Goes to `label`, which must come later.
    pub(super) fn jump(&mut self, label: &'static str) {
        self.open.push((self.done.len(), label));
        self.done.push((JUMP, 0, 0, 0));
    }

    /// Names the next instruction.
    pub(super) fn label(&mut self, label: &'static str) {
        self.labels.push((label, self.done.len()));
    }

    /// The finished program. A jump to a label that does not come later drops the frame by running
    /// off the end, which the kernel refuses to load: a mistake shows at once.
    pub(super) fn finish(mut self) -> Vec<Instruction> {
        for (place, label) in self.open {
            let target = self
                .labels
                .iter()
                .find(|(name, _)| *name == label)
                .map(|(_, at)| *at);
            let reach = target
                .and_then(|at| at.checked_sub(place + 1))
                .and_then(|n| u32::try_from(n).ok());
            if let Some(instruction) = self.done.get_mut(place) {
                instruction.3 = reach.unwrap_or(u32::MAX);
            }
        }
        self.done
    }
}
