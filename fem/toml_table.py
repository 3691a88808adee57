"""What every table of a TOML file shares: strictness, names, ways to refuse.

Depends on nothing inside the project.
"""

from typing import Annotated, NoReturn

from pydantic import BaseModel, ConfigDict, StringConstraints
from pydantic_core import PydanticCustomError

# Names appear in tables, messages and part names ("joint x1|x2"), so they stay printable and free of quotes and bars.
Name = Annotated[str, StringConstraints(pattern=r"^[\w+#.\-]([\w+#.\- ]{0,58}[\w+#.\-])?$")]
LINE_PATTERN = r"^[^\x00-\x1f\x7f-\x9f\u2028\u2029]{1,200}$"
Line = Annotated[str, StringConstraints(pattern=LINE_PATTERN)]
Text = Annotated[str, StringConstraints(max_length=20_000)]


class Table(BaseModel):
    """A TOML table that refuses unknown keys and numbers written as text."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False, frozen=True)


def refuse(message: str) -> NoReturn:
    """Refuse a table from inside its validator."""
    # Handed over as a field, because the library takes curly brackets in the text itself for fields.
    kind, template = "case", "{text}"
    raise PydanticCustomError(kind, template, {"text": message})


Form = tuple[set[str], set[str]]
"""Required and optional keys of one way to write a table."""


def one_form(table: BaseModel, forms: list[Form], what: str) -> None:
    """Refuse a table that mixes the ways to write it or leaves one incomplete."""
    every = set().union(*(required | optional for required, optional in forms))
    given = table.model_fields_set & every
    if any(required <= given <= required | optional for required, optional in forms):
        return

    def listed(keys: set[str], joiner: str) -> str:
        return joiner.join(key for key in type(table).model_fields if key in keys)

    allowed = f"{what} takes either " + ", or ".join(listed(required, " + ") for required, _ in forms)
    begun = [required for required, optional in forms if given and given <= required | optional]
    if len(begun) == 1:
        refuse(f"missing {listed(begun[0] - given, ', ')}; {allowed}")
    refuse(f"found {listed(given, ', ') or 'none of its keys'}; {allowed}")
