# One image for every process of the service; docker-compose.yml says which command each of them runs.
FROM python:3.11-slim

ENV PYTHONUNBUFFERED=1 PYTHONDONTWRITEBYTECODE=1 UV_LINK_MODE=copy UV_COMPILE_BYTECODE=1 \
    PATH="/app/.venv/bin:$PATH" WARMGATE_STATE_DIR=/var/lib/warmgate
WORKDIR /app
RUN pip install --no-cache-dir uv \
    && useradd --system --uid 10001 --home-dir /var/lib/warmgate --create-home warmgate

# The exact pins stand in pyproject.toml; this layer changes only with them.
COPY pyproject.toml ./
RUN uv sync --no-dev --no-cache

COPY manage.py LICENSE ./
COPY fleet fleet
COPY inspections inspections
COPY alarms alarms
COPY thermal thermal
COPY fixtures/demo fixtures/demo

USER warmgate
EXPOSE 8000
CMD ["granian", "--interface", "wsgi", "--host", "0.0.0.0", "--port", "8000", "--workers", "2", "--blocking-threads", "8", "--blocking-threads-idle-timeout", "600", "fleet.wsgi:application"]
