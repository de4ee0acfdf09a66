"""Examples beside the forms that they show; a test holds each against its schema."""

from collections.abc import Callable
from typing import Any

from drf_spectacular.utils import OpenApiExample, extend_schema_serializer

EXAMPLES: dict[str, Any] = {}


def example(value: Any) -> Callable[[type], type]:
    """Attach an invented example to a form."""

    def attach(form: type) -> type:
        EXAMPLES[form.__name__] = value
        return extend_schema_serializer(
            component_name=form.__name__.removesuffix("In") if form.__name__.endswith("In") else form.__name__,
            examples=[OpenApiExample(form.__name__, value=value)],
        )(form)

    return attach
