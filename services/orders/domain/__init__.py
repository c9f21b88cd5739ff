"""The arithmetic of the book of load: hours into weeks, weeks into snapshots, a chart of them."""
