"""Process sheets (TOML): what each process asks of a part, with unit and source."""
