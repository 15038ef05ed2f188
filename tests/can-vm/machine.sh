# The virtual machine: what it is made of, how its output is passed on, and what
# the command in it said at its end. Read by run-in-can-vm.

run_machine() {  # sets code, guest_start, guest_end and status (empty when there was none)
    local append qemu reader_pids word rest
    status='' guest_start='' guest_end=''
    [ -n "$memory_mb" ] || memory_mb=$(( 192 + 3 * image_mb ))
    # Command line of the kernel: little output, no self tests or mitigations that
    # only cost time under emulation, interrupts routed without ACPI (faster PCI
    # set-up), power off at the end and on a panic.
    append="console=ttyS0 quiet panic=-1 acpi=noirq tsc=reliable no_timer_check"
    append+=" mitigations=off cryptomgr.notests audit=0 apparmor=0 nowatchdog"
    append+=" rcupdate.rcu_expedited=1 random.trust_cpu=on"
    qemu=(qemu-system-x86_64 -accel "$accel" -M pc,usb=off,vmport=off,smbus=off -cpu "$cpu_model"
        -smp "$cpus" -m "$memory_mb" -nodefaults -no-user-config -display none -no-reboot
        -kernel "$kernel" -initrd "$work/image.cpio" -append "$append"
        -chardev "file,id=log,path=$work/console.log" -serial chardev:log
        -device virtio-serial-pci
        -chardev "file,id=p1,path=$work/out"     -device virtserialport,chardev=p1,nr=1
        -chardev "file,id=p2,path=$work/err"     -device virtserialport,chardev=p2,nr=2
        -chardev "file,id=p3,path=$work/ctl"     -device virtserialport,chardev=p3,nr=3
        -chardev "file,id=p4,path=$work/out.tar" -device virtserialport,chardev=p4,nr=4
        -chardev "file,id=p5,path=$work/dmesg"   -device virtserialport,chardev=p5,nr=5)
    if [ -n "$controllers" ]; then
        qemu+=(-object can-bus,id=bus0 -device kvaser_pci,canbus=bus0 -device kvaser_pci,canbus=bus0)
    fi
    if [ -n "$usb_serial" ]; then  # two adapters, whose lines are joined crosswise
        qemu+=(-device piix3-usb-uhci,id=usb
            -chardev "socket,id=line0,path=$work/line,server=on,wait=off" -device usb-serial,bus=usb.0,chardev=line0
            -chardev "socket,id=line1,path=$work/line"                    -device usb-serial,bus=usb.0,chardev=line1)
    fi
    # An instruction takes 4 ns of its clock: at 8 ns the bench and its simulator were too much for one processor, and
    # heartbeats came late.
    if [ -n "$virtual_time" ]; then qemu+=(-icount shift=2,sleep=off); fi

    # Output comes through two named pipes, so that it is passed on as it appears
    # and whatever our own stdout and stderr are.
    mkfifo "$work/out" "$work/err"
    cat "$work/out" & reader_pids=($!)
    cat "$work/err" >&2 & reader_pids+=($!)
    timeout -k 5 "$timeout_s" "${qemu[@]}" </dev/null >"$work/qemu.log" 2>&1 &
    qemu_pid=$!
    code=0; wait "$qemu_pid" || code=$?
    qemu_pid=''
    # Had qemu ended before it opened a pipe, the pipe's reader would wait forever:
    # open and close each once more (for both ways, which never blocks).
    exec 8<>"$work/out" 7<>"$work/err"
    exec 8>&- 7>&-
    wait "${reader_pids[@]}" || true
    while read -r word rest; do
        case $word in
            start)  guest_start=$rest ;;
            warn)   say "warning: $rest" ;;
            status) read -r status guest_end <<<"$rest" ;;
        esac
    done <"$work/ctl"
}

explain_no_status() {
    if [ -s "$work/qemu.log" ]; then sed 's/^/  qemu: /' "$work/qemu.log" >&2; fi
    tail -n 20 "$work/console.log" 2>/dev/null | sed 's/^/  kernel: /' >&2
    case $code in
        124|137) if [ -n "$guest_start" ]
                 then fail "time limit of $timeout_s s passed while the command ran" 124
                 else fail "time limit of $timeout_s s passed during boot" 124; fi ;;
        *) fail "the VM ended without reporting a status (qemu exit $code)" ;;
    esac
}
