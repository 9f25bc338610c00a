"""Names of the files of ours that stand in or beside a package and say more about it."""

CORRECTIONS_NAME = "coppermend-corrections.toml"
MAP_NAME = "coppermend-map.toml"
