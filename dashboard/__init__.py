"""The `discward` command and the pages people read."""
