"""What the containers may and may not be. Each rule takes docker-compose.yml, read, and yields a line for whatever breaks it."""

import ast
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from ruamel.yaml import YAML

from studio import env

ROOT = Path(__file__).resolve().parent.parent
FILE = ROOT / "docker-compose.yml"
LONG_RUNNING = {"web", "photos", "letters", "beat", "redis", "postgres"}
SECRET = re.compile(r"PASSWORD|SECRET|KEY|TOKEN|_URL$")
# A part that Compose puts in from the environment: ${NAME}, ${NAME:-default} or ${NAME:?what to do}.
FROM_ENVIRONMENT = re.compile(r"\$\{([A-Z_]+)(?::([?-])([^}]*))?\}")

Compose = dict[str, Any]
Rule = Callable[[Compose], Iterator[str]]


def read() -> Compose:
    found: Compose = YAML(typ="safe").load(FILE)
    return found


def known_settings() -> set[str]:
    """The names that the settings ask the environment for."""
    calls = (
        node
        for node in ast.walk(ast.parse((ROOT / "studio" / "settings.py").read_text()))
        if isinstance(node, ast.Call)
    )
    asked = (
        call.args[0].value
        for call in calls
        if isinstance(call.func, ast.Attribute)
        and isinstance(call.func.value, ast.Name)
        and call.func.value.id in {"env", "keys"}
        and call.args
        and isinstance(call.args[0], ast.Constant)
    )
    return {name if name.startswith(env.PREFIX) else f"{env.PREFIX}{name}" for name in asked if isinstance(name, str)}


def services(compose: Compose) -> Iterator[tuple[str, dict[str, Any]]]:
    yield from compose["services"].items()


def built(compose: Compose) -> dict[str, dict[str, Any]]:
    return {name: service for name, service in services(compose) if "build" in service}


def all_run(compose: Compose) -> Iterator[str]:
    if missing := LONG_RUNNING - compose["services"].keys():
        yield f"{missing} are not there"
    for name in LONG_RUNNING & compose["services"].keys():
        service = compose["services"][name]
        if not service.get("healthcheck", {}).get("test"):
            yield f"nobody sees whether {name} is well"
        if service.get("restart") != "unless-stopped":
            yield f"{name} does not come back"
        if service.get("logging", {}).get("driver") != "local":
            yield f"{name} fills the disk with what it says"


def ours_are_one_image(compose: Compose) -> Iterator[str]:
    ours = built(compose)
    if set(ours) != {"set-up", "web", "photos", "letters", "beat"}:
        yield f"built are {sorted(ours)}"
    if len({repr((service["image"], service["build"])) for service in ours.values()}) != 1:
        yield "not all of ours are the same image"
    if any(service.get("pull_policy") != "build" for service in ours.values()):
        yield "somebody else's image of that name may be taken"


def images_are_pinned(compose: Compose) -> Iterator[str]:
    named = {service["image"] for _, service in services(compose) if "build" not in service}
    for service in built(compose).values():
        named |= set(re.findall(r"^FROM (\S+)", service["build"]["dockerfile_inline"], re.MULTILINE))
    for image in named:
        if not re.fullmatch(r"[a-z]+:\d+(\.\d+)*[\w.-]*", image):
            yield f"{image} names no version"


def nobody_may_do_much(compose: Compose) -> Iterator[str]:
    for name, service in services(compose):
        if str(service.get("user", "root")).split(":")[0] in {"root", "0"}:
            yield f"{name} runs as root"
        if service.get("cap_drop") != ["ALL"] or service.get("cap_add") or service.get("privileged"):
            yield f"{name} keeps powers of root"
        if service.get("security_opt") != ["no-new-privileges:true"]:
            yield f"{name} may gain powers"
        if service.get("read_only") is not True:
            yield f"{name} may change its own programs"
    for name, service in built(compose).items():
        if not re.search(r"^USER (?!root|0)\w+$", service["build"]["dockerfile_inline"], re.MULTILINE):
            yield f"the image of {name} runs as root"


def what_is_installed_is_locked(compose: Compose) -> Iterator[str]:
    for name, service in built(compose).items():
        for line in re.findall(r"^RUN .*\binstall .*$", service["build"]["dockerfile_inline"], re.MULTILINE):
            if "pip" in line and not {"--require-hashes", "studio/locks/run.txt"} <= set(line.split()):
                yield f"{name} installs what no lock names"


def only_the_web_is_reached_and_from_here(compose: Compose) -> Iterator[str]:
    for name, service in services(compose):
        ports = service.get("ports", [])
        if ports and name != "web":
            yield f"{name} has a door to the outside"
        yield from (f"{port} is open to all" for port in ports if not str(port).startswith("127.0.0.1:"))
        if service.get("network_mode"):
            yield f"{name} is in a network of its own choosing"
        if "outside" in service["networks"] and name not in {"web", "letters"}:
            yield f"{name} reaches the outside"
    if compose["networks"]["inside"].get("internal") is not True:
        yield "the inside is open"


def no_secret_stands_in_it(compose: Compose) -> Iterator[str]:
    for name, service in services(compose):
        for variable, value in service.get("environment", {}).items():
            parts = [(match[2], match[3]) for match in FROM_ENVIRONMENT.finditer(str(value))]
            written = FROM_ENVIRONMENT.sub("", str(value))
            if not SECRET.search(variable):
                continue
            if any(mark == "-" and default for mark, default in parts):
                yield f"{name}: {variable} has a secret that everybody knows"
            if re.search(r"//[^/@]*:[^/@]+@", written) or (written and not variable.endswith("_URL")):
                yield f"{name}: a secret stands in {variable}"
        for line in re.findall(
            r"^(?:ENV|ARG) .*$", service.get("build", {}).get("dockerfile_inline", ""), re.MULTILINE
        ):
            yield from (f"{name}: {word} is in the image" for word in line.split() if SECRET.search(word.split("=")[0]))
    password = [
        service["environment"].get("POSTGRES_PASSWORD", "") for name, service in services(compose) if name == "postgres"
    ]
    if not all(value.startswith("${POSTGRES_PASSWORD:?") for value in password):
        yield "postgres starts without a password of its own"


def settings_are_known(compose: Compose) -> Iterator[str]:
    known = known_settings()
    for name, service in built(compose).items():
        for variable, value in service["environment"].items():
            if variable.startswith(env.PREFIX) and variable not in known:
                yield f"{name}: nothing reads {variable}"
            for asked in (match[1] for match in FROM_ENVIRONMENT.finditer(str(value))):
                if asked.startswith(env.PREFIX) and asked != variable:
                    yield f"{name}: {variable} is taken from {asked}"


def it_is_nobodys_demo(compose: Compose) -> Iterator[str]:
    for name, service in services(compose):
        words = re.findall(r"[\w.-]+", " ".join(map(str, service.get("command", []))))
        yield from (f"{name} runs {word}" for word in words if word in {"demo", "up"})
    for name, service in built(compose).items():
        if re.search(r"^(COPY|ADD) (.*\bfixtures\b|\. )", service["build"]["dockerfile_inline"], re.MULTILINE):
            yield f"{name} holds the demo"


def redis_keeps_what_it_took(compose: Compose) -> Iterator[str]:
    command = " ".join(compose["services"]["redis"]["command"])
    for words in ("--appendonly yes", "--maxmemory-policy noeviction"):
        if words not in command:
            yield f"redis has no {words}"


def what_is_kept_lies_in_volumes(compose: Compose) -> Iterator[str]:
    for name, service in services(compose):
        for volume in service.get("volumes", []):
            if volume.split(":")[0] not in compose["volumes"]:
                yield f"{name}: {volume} is no volume of ours"
        if name in LONG_RUNNING and not service.get("volumes"):
            yield f"{name} keeps nothing"


RULES: tuple[Rule, ...] = (
    all_run,
    ours_are_one_image,
    images_are_pinned,
    nobody_may_do_much,
    what_is_installed_is_locked,
    only_the_web_is_reached_and_from_here,
    no_secret_stands_in_it,
    settings_are_known,
    it_is_nobodys_demo,
    redis_keeps_what_it_took,
    what_is_kept_lies_in_volumes,
)
