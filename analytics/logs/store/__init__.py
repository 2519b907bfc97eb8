"""Keep the logs: every row ever imported, where it stood, and who corrected it why.

`opening.open_store`, `importing.import_logs`, `loading.stored_logs`,
`correcting.correct`, `tracing.trace`, `copying.copy_store`.
"""
