"""Reads a label file with mir_eval; every label must be one it can encode."""
import sys
import mir_eval

intervals, labels = mir_eval.io.load_labeled_intervals(sys.argv[1])
mir_eval.util.validate_intervals(intervals)
for label in labels:
    mir_eval.chord.encode(label)
assert (intervals[1:, 0] == intervals[:-1, 1]).all(), "gaps or overlaps"
print(f"{len(labels)} spans, {intervals[0, 0]:.6f} to {intervals[-1, 1]:.6f}")
