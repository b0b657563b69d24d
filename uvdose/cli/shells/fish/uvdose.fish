# Completion of uvdose in fish. `uvdose shell fish` prints this.
function __uvdose_offered
    set -l typed (commandline -opc)
    set -l word (commandline -ct)
    set -l answer ($typed[1] shell fish -- $typed[2..-1] "$word" 2>/dev/null)
    if test "$answer[1]" = files
        __fish_complete_path "$word"
    else if set -q answer[2]
        printf '%s\n' $answer[2..-1]
    end
end
complete -c uvdose -f -a '(__uvdose_offered)'
