# syntax=docker/dockerfile:1
# One static program in an empty image: nothing else to keep up to date. It runs
# as nobody in particular and needs to write to /data only.
FROM golang:1.26-bookworm AS build
WORKDIR /src
COPY go.mod go.sum ./
RUN go mod download
COPY . .
RUN CGO_ENABLED=0 go build -trimpath -ldflags="-s -w" -o /out/shimwright ./bot \
 && mkdir -p /out/data

FROM scratch
COPY --from=build /etc/ssl/certs/ca-certificates.crt /etc/ssl/certs/
COPY --from=build /out/shimwright /shimwright
COPY --from=build --chown=65532:65532 /out/data /data
USER 65532:65532
ENV SHIMWRIGHT_DATA=/data \
    SHIMWRIGHT_LISTEN=0.0.0.0:8080
VOLUME /data
EXPOSE 8080
HEALTHCHECK --interval=30s --timeout=5s --start-period=5s CMD ["/shimwright", "health"]
ENTRYPOINT ["/shimwright"]
