"""The case log: entries as values, and the folds that turn them into the state of a case.

``model`` what an entry is and how entries are ordered · ``kinds`` what each kind holds · ``canonical`` the bytes that are hashed ·
``chain`` whether a log is whole · ``fold`` entries to ``state.CaseState`` · ``gate`` the gate before power · ``values`` typed values · ``words`` entries in words
"""
