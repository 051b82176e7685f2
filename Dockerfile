# One image for web server, workers, sweeper and migrations; docker-compose.yml says who runs what.
FROM python:3.11-slim-bookworm AS environment
COPY requirements.txt /
RUN python -m venv /opt/venv \
    && /opt/venv/bin/pip install --no-cache-dir --disable-pip-version-check --no-deps \
        --only-binary=:all: --require-hashes -r /requirements.txt

FROM python:3.11-slim-bookworm
RUN groupadd --gid 10001 strongfloor \
    && useradd --uid 10001 --gid 10001 --no-create-home --shell /usr/sbin/nologin strongfloor \
    && install -d -o strongfloor -g strongfloor -m 0700 /var/lib/strongfloor
COPY --from=environment /opt/venv /opt/venv
WORKDIR /opt/strongfloor
COPY manage.py gunicorn.conf.py ./
COPY templates templates
COPY labmatrix labmatrix
COPY specimens specimens
COPY conditioning conditioning
COPY results results
# Caches go to /tmp, because the rest of the file system is read-only.
ENV PATH=/opt/venv/bin:$PATH \
    PYTHONUNBUFFERED=1 \
    PYTHONDONTWRITEBYTECODE=1 \
    NUMBA_CACHE_DIR=/tmp/numba \
    MPLCONFIGDIR=/tmp/matplotlib \
    STRONGFLOOR_HOME=/var/lib/strongfloor
USER 10001:10001
EXPOSE 8000
CMD ["gunicorn", "labmatrix.wsgi:application"]
