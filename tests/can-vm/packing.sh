# How a file gets into an image, with what it needs to run. Read by run-in-can-vm.

is_elf() { [ "$(head -c 4 -- "$1" 2>/dev/null | tr -d '\0')" = $'\x7fELF' ]; }

# put FILE ROOT AT: copy FILE to ROOT/AT, and what it needs to run: shared
# libraries, or the interpreter of a script.
put() {
    local file=$1 root=$2 at=$3 line
    mkdir -p "$root${at%/*}"
    if [ ! -e "$root$at" ]; then
        cp -L --preserve=mode,timestamps -- "$file" "$root$at"
    fi
    if is_elf "$file"; then
        put_libraries "$root" "$file"
    elif [ "$(head -c 2 -- "$file" | tr -d '\0')" = '#!' ]; then
        IFS= read -r line <"$file" || true
        line=${line#\#!}; line=${line# }
        [[ ${line%% *} == /usr/bin/env && ${line#* } != -* ]] && line=$(type -P "${line#* }" || true)
        line=${line%% *}
        if [ -n "$line" ] && [ -x "$line" ] && [ "${line##*/}" != sh ]; then put "$line" "$root" "$line"; fi
    fi
}

put_libraries() {  # ROOT FILE...: copy the shared libraries of the programs
    local root=$1 library; shift
    ldd -- "$@" 2>/dev/null >"$work/ldd" || true  # fails for static programs
    if grep -q 'not found' "$work/ldd"; then
        grep 'not found' "$work/ldd" >&2
        fail "a shared library of ${*##*/} is missing on this machine"
    fi
    # Lines are "name => path (address)" or, for the loader, "path (address)";
    # with several files there are also headers "path:", without an address.
    sed -n 's/^[[:space:]].*=> \(\/.*\) (0x.*/\1/p; s/^[[:space:]]\(\/.*\) (0x.*/\1/p' "$work/ldd" |
    sort -u | while IFS= read -r library; do
        [ -e "$root$library" ] && continue
        mkdir -p "$root${library%/*}"
        cp -L --preserve=mode,timestamps -- "$library" "$root$library"
    done
}

skeleton() {  # ROOT: the folders of a system with merged /usr
    mkdir -p "$1"/usr/{bin,sbin,lib,lib64,libexec} "$1"/{dev,proc,sys,tmp,run,root,etc/can-vm,out}
    chmod 1777 "$1/tmp"
    ln -sfn usr/bin "$1/bin"; ln -sfn usr/sbin "$1/sbin"
    ln -sfn usr/lib "$1/lib"; ln -sfn usr/lib64 "$1/lib64"
}

archive() { (cd "$1" && find . -print0 | cpio --null --create --format=newc --owner=0:0 --quiet); }
