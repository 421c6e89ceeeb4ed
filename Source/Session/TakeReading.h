#pragma once

#include "Session/Takes.h"

#include <span>
#include <vector>

namespace spillwright {

// What comparing takes begins with: every take read alike. For Takes.cpp and what it is made of.

/// Usable in that recording; a track below 0 is none.
bool soundsIn(const Measurement& measurement, int track);

/// The same recording as if only these tracks were in the mix.
Measurement withTracks(const Measurement& measurement, std::vector<int> tracks);

/// Variance of a figure from what it is with one part left out after the other (Quenouille 1956, Tukey 1958; from
/// memory).
double jackknifeVariance(const std::vector<double>& without);

enum PairFigure { coherenceFigure, gainFigure, notchFigure, pairFigures };

/// The figures of a take: pairFigures a pair of the comparison, then the sum of all tracks in common as recorded, then
/// at its best.
struct FiguresOfTake {
    static constexpr int fewestParts = 4;     ///< For an uncertainty.
    std::vector<double> values;               ///< As measured, NaN where there is none.
    std::vector<std::vector<double>> without; ///< [figure][part] With a part of the take left out.
    int parts = 0;

    Uncertain uncertain(std::size_t figure) const;
};

struct ReadTakes {
    std::vector<int> common;            ///< Compared tracks that sound in every take.
    std::vector<FiguresOfTake> figures; ///< [take]
};

inline std::size_t sumFigure(const Comparison& comparison) {
    return pairFigures * comparison.pairCount();
}
inline std::size_t bestFigure(const Comparison& comparison) {
    return sumFigure(comparison) + 1;
}

/// Hears the sources of every take and fills in all that is told of a take alone. `lists`: one a take, where its
/// sources are known; empty: the same in every take, each told from the same track. Faults: an unknown source, a stop,
/// too little memory.
Result<ReadTakes> readTakes(Comparison& comparison, const CompareOptions& options, std::span<const SourceList> lists,
                            Workers& workers, const Watch& watch);

} // namespace spillwright
