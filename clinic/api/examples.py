"""Examples beside the forms that they show; a test holds each against its schema."""

from collections.abc import Callable, Mapping
from typing import Any

from drf_spectacular.utils import OpenApiExample, extend_schema_serializer

EXAMPLES: dict[str, Any] = {}


def example(value: Any, *, further: Mapping[str, Any] | None = None) -> Callable[[type], type]:
    """Attach an invented example to a form, and further ones, each under what it shows."""

    def attach(form: type) -> type:
        EXAMPLES[form.__name__] = value
        named = {form.__name__: value, **(further or {})}
        return extend_schema_serializer(
            component_name=form.__name__.removesuffix("In") if form.__name__.endswith("In") else form.__name__,
            examples=[OpenApiExample(name, value=shown) for name, shown in named.items()],
        )(form)

    return attach
