// Ball contacts join two chains: the same instant in both.
#pragma once

#include <vector>

#include "path/fit.hpp"
#include "path/search.hpp"

namespace baizetrace::path {

// Pairs the ball contacts of the chains of a problem: each start that another ball caused gets its hitter, each
// contact its other side. Contacts that one side has not seen by itself are put in where both paths meet; those whose
// other ball never moved are taken out.
void link(Problem& problem);

// Takes ball contacts out again that change neither ball's motion beyond its uncertainty. True: something changed,
// the problem is to be linked and fitted again.
bool drop_idle_contacts(Problem& problem);

}  // namespace baizetrace::path
