"""The environment: made once from the hashed lock, or the active one when it already holds what is needed.

Runs on a bare Python, so it imports the standard library only, and it avoids syntax that an older Python
could not read: such a Python shall get a sentence, not a SyntaxError.

Which interpreter runs the commands:

1. the project's own `.venv`, when it is the active environment or nothing else is active;
2. an active conda or virtual environment, when every requirement is there at the version of the lock or a later one of
   the same major version: the bounds that environment.yml also states;
3. else `.venv`, made from requirements.lock with pip checking every hash.

Whichever it is, Python is started again in it with the settings of `SETTINGS`, so that results do not depend on the shell.
"""

import hashlib
import os
import re
import shutil
import subprocess
import sys
from importlib import util
from pathlib import Path

PROJECT = Path(__file__).resolve().parent.parent
OLDEST, NEWEST = (3, 11), (3, 13)

# Read when Python starts or when numpy is first imported, hence the second start.
SETTINGS = {
    "PYTHONNOUSERSITE": "1",  # packages of the user's home must not mix in
    "PYTHONHASHSEED": "0",
    "OMP_NUM_THREADS": "1",  # sums in another order give other last digits
    "OPENBLAS_NUM_THREADS": "1",
}


def enter_environment(arguments, project=PROJECT):
    """Return when this process is the right one; otherwise start the right one in its place and never return.

    Ends the process with one line and exit code 1 when no environment can be had.
    """
    refuse_wrong_python(sys.version_info[:3])
    own = Path(project) / ".venv"
    if Path(sys.prefix).resolve() == own.resolve():
        interpreter = _own_interpreter_from_inside(project, own)
    else:
        interpreter = _active_interpreter(project) or _own_interpreter(project, own)
    environment = settled(os.environ)
    if Path(interpreter) == Path(sys.executable) and environment == dict(os.environ):
        return
    command = [str(interpreter), "-m", "pipeline"] + list(arguments)
    sys.stdout.flush()
    if os.name == "nt":  # exec on Windows returns to the prompt before the program ends
        sys.exit(subprocess.call(command, env=environment))
    os.execve(str(interpreter), command, environment)


def settled(environment):
    """A copy of the environment variables with the settings in it and without what slows every later start."""
    changed = dict(environment)
    changed.update(SETTINGS)
    changed.pop("PYTHONDONTWRITEBYTECODE", None)  # with it every process compiles every package again
    return changed


def refuse_wrong_python(version):
    """End with one line when this Python is older or newer than the locked packages support."""
    if OLDEST <= tuple(version[:2]) <= NEWEST:
        return
    found = ".".join(str(part) for part in version)
    hint = "install one of these and type the command again with it"
    for minor in range(NEWEST[1], OLDEST[1] - 1, -1):
        other = "python3.{}".format(minor)
        if _starts(other):
            hint = "this machine has {0}: begin the command with it".format(other)
            break
    sys.exit("Python 3.{} to 3.{} is needed and this is {}; {}.".format(OLDEST[1], NEWEST[1], found, hint))


def _starts(name):
    """True when a Python of this name is on the machine and does start (a version switcher's placeholder does not)."""
    return bool(shutil.which(name)) and subprocess.call([name, "-c", ""], stderr=subprocess.DEVNULL) == 0


# What is needed, and whether an environment has it


def locked_versions(project=PROJECT):
    """Versions in requirements.lock: {lower-case name: version text}; the newest where the lock holds several."""
    versions = {}
    for line in (Path(project) / "requirements.lock").read_text(encoding="utf-8").splitlines():
        found = re.match(r"([A-Za-z0-9._-]+)==([^ ;\\]+)", line)
        if found:
            name, version = normal_name(found.group(1)), found.group(2)
            if name not in versions or as_numbers(version) > as_numbers(versions[name]):
                versions[name] = version
    return versions


def required_names(project=PROJECT):
    """The names in requirements.in, in its order, lower case."""
    lines = (Path(project) / "requirements.in").read_text(encoding="utf-8").splitlines()
    bare = [re.split(r"[\s\[<>=!~;#]", line.strip(), maxsplit=1)[0] for line in lines]
    return [normal_name(name) for name in bare if name]


def normal_name(name):
    """A distribution's name as registries compare it."""
    return re.sub(r"[-_.]+", "-", name).lower()


def as_numbers(version):
    """The leading numbers of a version: "2.4.6rc1" -> (2, 4, 6)."""
    return tuple(int(part) for part in re.findall(r"\d+", re.match(r"[\d.]*", version).group()))


def bounds(version):
    """Versions that count as good: from this major.minor, below the next major. "2.4.6" -> ("2.4", "3")."""
    numbers = as_numbers(version) + (0,)
    return "{}.{}".format(*numbers[:2]), str(numbers[0] + 1)


def unmet_requirements(project=PROJECT):
    """What the running environment lacks, as phrases such as "folium (absent)"; empty when it will do."""
    from importlib import metadata  # here, because a Python without it must reach the sentence about its age

    locked = locked_versions(project)
    unmet = []
    for name in required_names(project):
        lowest, below = bounds(locked[name])
        try:
            version = metadata.version(name)
        except metadata.PackageNotFoundError:
            unmet.append("{} (absent)".format(name))
            continue
        if not as_numbers(lowest) <= as_numbers(version) < as_numbers(below):
            unmet.append("{} ({}; {} or later below {} is needed)".format(name, version, lowest, below))
    return unmet


def _active_interpreter(project):
    """This interpreter when it belongs to an environment the user made for this, else None."""
    is_conda = (Path(sys.prefix) / "conda-meta").is_dir()
    if sys.prefix == sys.base_prefix and not is_conda:
        return None
    unmet = unmet_requirements(project)
    if not unmet:
        return sys.executable
    rest = "" if len(unmet) <= 3 else " and {} more".format(len(unmet) - 3)
    print("The active environment {} lacks {}{}; using the project's own .venv instead.".format(
        sys.prefix, ", ".join(unmet[:3]), rest), file=sys.stderr)
    return None


# The project's own environment


def _own_interpreter_from_inside(project, own):
    """This interpreter, after bringing its packages in step with a lock that has changed since it was made."""
    mark = own / ".made-from"
    if mark.exists() and mark.read_text(encoding="utf-8") != stamp(own, project):
        print("requirements.lock has changed: bringing .venv in step.", flush=True)
        _install(own, project)
    return sys.executable


def _own_interpreter(project, own):
    """The interpreter of `.venv`, which is made first when it is not there or was made from another lock."""
    interpreter = interpreter_of(own)
    mark = own / ".made-from"
    if not (interpreter.exists() and mark.exists() and mark.read_text(encoding="utf-8") == stamp(own, project)):
        _make(own, project)
    return interpreter


def interpreter_of(own):
    """Path of the Python in a virtual environment."""
    return own / "Scripts" / "python.exe" if os.name == "nt" else own / "bin" / "python"


def stamp(own, project=PROJECT):
    """What an environment was made from: the lock, and its own place, which it cannot leave. Any Python that fits may have made it."""
    digest = hashlib.sha256((Path(project) / "requirements.lock").read_bytes())
    digest.update(str(own.resolve()).encode("utf-8"))
    return digest.hexdigest()


def _make(own, project):
    if util.find_spec("ensurepip") is None or util.find_spec("venv") is None:
        sys.exit("This Python cannot make environments (ensurepip is missing). On Debian or Ubuntu: apt install "
                 "python{}.{}-venv; then type the same command again.".format(*sys.version_info[:2]))
    import venv

    mark = own / ".made-from"
    print("Making the environment in {} (once: about a minute, 1 GB).".format(own), flush=True)
    try:
        # Cleared only when an earlier call made it: a folder of this name that someone else made is added to.
        venv.create(own, with_pip=True, clear=mark.exists())
        mark.write_text("unfinished", encoding="utf-8")
    except (OSError, subprocess.CalledProcessError) as fault:
        sys.exit("Could not make the environment in {}: {}. Nothing was run.".format(own, fault))
    _install(own, project)


def _install(own, project):
    """Install the lock into an environment and make `import pipeline` work in it from any folder."""
    command = [str(interpreter_of(own)), "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--no-input",
               "--require-hashes", "--only-binary", ":all:", "--compile",
               "-r", str(Path(project) / "requirements.lock")]
    if subprocess.call(command, env=settled(os.environ)):
        sys.exit("The installation did not finish, see the lines above; nothing was run. "
                 "Type the same command again to go on.")
    try:
        # In the locale's encoding, as Python reads these files.
        (site_packages_of(own) / "fixledger.pth").write_text("{}\n".format(Path(project).resolve()))
        (own / ".made-from").write_text(stamp(own, project), encoding="utf-8")
    except OSError as fault:
        sys.exit("Could not finish the environment in {}: {}. Nothing was run.".format(own, fault))


def site_packages_of(own):
    """Folder of a virtual environment in which packages lie."""
    import sysconfig

    return Path(sysconfig.get_path("purelib", "venv", {"base": str(own), "platbase": str(own)}))
