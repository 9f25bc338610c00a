"""ROM read-outs: checksums against an owner's list, and what a wrong read-out looks like: halves, repeats, stuck lines, single and weak bits."""
