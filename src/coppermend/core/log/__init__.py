"""The case log: entries as values, and the folds that turn them into the state of a case."""
