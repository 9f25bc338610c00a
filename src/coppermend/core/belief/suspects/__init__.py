"""Suspects: parts, joints, contacts, tracks, shorts and rails in one belief, from what the powered and the unpowered board showed.

``table`` how likely each kind of fault is, and how far readings are trusted · ``copper`` nets as trees of spans · ``causes`` every single
fault · ``field`` sets of up to three faults and what each predicts · ``posterior`` what the evidence leaves · ``reasons`` why, in words ·
``warmth`` what thermal pictures say · ``oddity`` runts and resets at the wrong time · ``witness`` what a memory test or a
ROM's read-out says · ``hitting`` minimal explanations from conflicts
"""
