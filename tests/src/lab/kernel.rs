//! What a host's kernel says of its own addresses, routes and neighbours, from one moment to another.

use super::Lab;
use crate::tools::Tool;

/// Addresses for examples (RFC 5737), which nobody has in a lab: neighbours made by hand, to see that all is heard.
const FIRST: &str = "192.0.2.1";
const LAST: &str = "192.0.2.2";

impl Lab {
    /// Listens to every change of a host's addresses, routes and neighbour table, until [`Kernel::same`].
    #[must_use]
    pub fn kernel(&self, host: &'static str) -> Kernel<'_> {
        // It says nothing when it begins to listen.
        let script = "echo ready; exec ip -o monitor address route neigh";
        let mut kernel = Kernel {
            lab: self,
            host,
            before: self.settings(host),
            changes: self.program(host, &["sh", "-c", script]),
        };
        super::until("the kernel's changes are heard", || {
            kernel.mark(FIRST);
            kernel.changes.heard().iter().any(|line| is_end_of(line, FIRST))
        });
        assert_eq!(self.settings(host), kernel.before, "the mark is gone");
        kernel
    }
}

/// Whether a line tells that this neighbour was taken away.
fn is_end_of(line: &str, address: &str) -> bool {
    line.starts_with("Deleted") && line.contains(address)
}

/// What a host's kernel holds, and a witness of all that changes in it.
#[derive(Debug)]
pub struct Kernel<'l> {
    lab: &'l Lab,
    host: &'static str,
    before: Vec<String>,
    changes: Tool,
}

impl Kernel<'_> {
    /// Makes a neighbour, and takes it away again.
    fn mark(&self, address: &str) {
        let script = format!(
            "ip neigh replace {address} lladdr 02:52:43:00:00:01 dev eth0; ip neigh del {address} dev eth0"
        );
        self.lab.within(self.host, &["sh", "-c", &script]);
    }

    /// Addresses, routes and neighbours are as they were at first, and nothing changed in them meanwhile.
    #[track_caller]
    pub fn same(&mut self, when: &str) {
        assert_eq!(self.lab.settings(self.host), self.before, "{when}");
        // What was changed and put back is told too, before this mark.
        let marks = |line: &&String| is_end_of(line, LAST);
        let many = self.changes.heard().iter().filter(marks).count();
        self.mark(LAST);
        self.changes
            .wait_many("the end of the mark", many + 1, |line| is_end_of(line, LAST));
        let other = |line: &&String| *line != "ready" && ![FIRST, LAST].iter().any(|a| line.contains(a));
        let changed: Vec<&String> = self.changes.heard().iter().filter(other).collect();
        assert!(changed.is_empty(), "{when}: {changed:#?}");
    }
}
