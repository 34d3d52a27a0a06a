"""The open contract: JSON Schema files, the OpenAPI document, what each problem means, and health."""
