"""Did a change do what was promised: before and after at the same air, with how sure that is."""

from service.retrofit.checked import Asked, Retrofit, check_retrofit
from service.retrofit.figures import Figures, Part
from service.retrofit.periods import Period, RetrofitRefusedError, read_period
from service.retrofit.told import daily_power, equal_words, hours_table, sentences, verdict_words

__all__ = [
    "Asked",
    "Figures",
    "Part",
    "Period",
    "Retrofit",
    "RetrofitRefusedError",
    "check_retrofit",
    "daily_power",
    "equal_words",
    "hours_table",
    "read_period",
    "sentences",
    "verdict_words",
]
