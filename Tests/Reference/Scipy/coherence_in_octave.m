% Coherence of two columns of doubles with the window and overlap of the program: by mscohere of the signal package.
%   octave-cli coherence_in_octave.m PAIR.f64 LENGTH WINDOW RATE OUT.f64
pkg load signal
given = argv ();
window = str2double (given{3});
file = fopen (given{1});
pair = fread (file, [str2double(given{2}), 2], "double");
fclose (file);
periodic = 0.5 - 0.5 * cos (2 * pi * (0:window - 1)' / window);
% "none": the mean stays in, as the program leaves it.
coherence = mscohere (pair(:, 1), pair(:, 2), periodic, 0.5, window, str2double (given{4}), "none");
file = fopen (given{5}, "w");
fwrite (file, coherence, "double");
fclose (file);
