"""The Larkenfell 64: a computer of about 1983 that nobody ever sold, made up for Coppermend's demonstrations.

The modules, in the order in which the data passes through them: `devices` (chips and their pins), `footprints`
(lands and outlines), `circuit` (which pin goes where), `placement` (where each part stands), `router` (finds the
tracks), `copper` (tracks, vias, lands as shapes), `electrical` and `spacing` (the rule checks), `gerber`, `drill`,
`netlist`, `lettering` (the files). `python -m demo.route` finds the tracks anew and writes routes.json;
`python -m demo.generate --out DIR` writes the package from routes.json.
"""
