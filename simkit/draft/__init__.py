"""A first job file, drafted from the programs and meshes of a folder."""
