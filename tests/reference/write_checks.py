"""Write profiles/checks.toml, which ``solarvent about checks`` shows: ``python tests/reference/write_checks.py``."""

from all_checks import SHIPPED, as_toml

if __name__ == "__main__":
    SHIPPED.write_text(as_toml(), encoding="utf-8", newline="\n")
    print(f"written: {SHIPPED}")
